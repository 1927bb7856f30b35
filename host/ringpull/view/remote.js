"use strict";
/* Samples from the local server, a window at a time. */
const remote = (() => {
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
    const row = async (time) => {
      const answer = await fetch(`/row?${at}&time=${time}`);
      return answer.ok ? answer.json() : null;
    };
    /* Every sample of some spans, joined. */
    const raw = async (spans) => {
      const step = 8192 * session.period_s; // few enough to come as they are
      const exact = [];
      for (const { start_s, end_s } of spans) {
        for (let from = start_s; from < end_s; from += step) exact.push(await ask(from, Math.min(from + step, end_s), 8192));
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
    return { ...session, drive, ask, row, raw };
  }

  return { opened };
})();
