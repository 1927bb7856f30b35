"use strict";
/* Samples from the local server, a window at a time. */
const remote = (() => {
  const AGAIN_MS = 10; // the server answers at once with what it has, and decodes the rest meanwhile
  const later = () => new Promise((done) => setTimeout(done, AGAIN_MS));

  async function parsed(answer, session) {
    const body = await answer.arrayBuffer();
    const length = new DataView(body).getUint32(0, true);
    const head = JSON.parse(new TextDecoder().decode(new Uint8Array(body, 4, length)));
    const values = session.columns.map((_, at) => new Float32Array(body, 4 + length + 4 * at * head.rows, head.rows));
    return samples.prepared({ ...head, values, columns: session.columns });
  }

  /* A session as the traces take it: what is known, and ways to ask for samples. */
  function opened(drive, session) {
    const at = `drive=${drive}&session=${session.id}`;
    const ask = async (start, end, width) =>
      parsed(await fetch(`/window?${at}&start=${start}&end=${end}&width=${Math.round(width)}`), session);
    /* The same when all of it is as fine as asked for. */
    const whole = async (start, end, width) => {
      let got = await ask(start, end, width);
      while (!got.fine) {
        await later();
        got = await ask(start, end, width);
      }
      return got;
    };
    /* The row nearest to a time, as long as `wanted` says so. */
    const row = async (time, wanted) => {
      for (;;) {
        const answer = await fetch(`/row?${at}&time=${time}`);
        if (answer.status === 200) return answer.json();
        if (answer.status !== 202 || !wanted()) return null;
        await later();
      }
    };
    /* Every sample of some spans, joined. */
    const raw = async (spans) => {
      const step = 8192 * session.period_s; // few enough to come as they are
      const exact = [];
      for (const { start_s, end_s } of spans) {
        for (let from = start_s; from < end_s; from += step) exact.push(await whole(from, Math.min(from + step, end_s), 8192));
      }
      const rows = exact.reduce((sum, one) => sum + one.rows, 0);
      const values = session.columns.map((_, nth) => {
        const out = new Float32Array(rows);
        let begin = 0;
        for (const one of exact) {
          out.set(one.values[nth], begin);
          begin += one.rows;
        }
        return out;
      });
      return samples.prepared({ period_s: session.period_s, runs: exact.flatMap((one) => one.runs), rows, values, columns: session.columns });
    };
    return { ...session, drive, ask, row, raw, later };
  }

  return { opened };
})();
