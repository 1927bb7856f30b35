"use strict";
/* The samples of a session: unpacked from the page, looked up by time, and their least and most for each pixel. */
const samples = (() => {
  const NO_VALUE = -32768;
  const STEP = 64;

  function bytesOf(text) {
    const raw = atob(text);
    const out = new Uint8Array(raw.length);
    for (let i = 0; i < raw.length; i++) out[i] = raw.charCodeAt(i);
    return out;
  }

  async function unpacked(text) {
    const stream = new Blob([bytesOf(text)]).stream().pipeThrough(new DecompressionStream("gzip"));
    return new Uint8Array(await new Response(stream).arrayBuffer());
  }

  function column(bytes, at, rows, scale, offset) {
    const out = new Float32Array(rows);
    let code = 0;
    for (let i = 0; i < rows; i++) {
      code = (code + bytes[at + i] + (bytes[at + rows + i] << 8)) & 0xffff;
      const signed = code > 32767 ? code - 65536 : code;
      out[i] = signed === NO_VALUE ? NaN : offset + scale * signed;
    }
    return out;
  }

  /* Least and most of every STEP samples: [n / STEP] each; NaN where there is no value. */
  function coarse(values) {
    const size = Math.ceil(values.length / STEP);
    const low = new Float32Array(size);
    const high = new Float32Array(size);
    for (let k = 0; k < size; k++) {
      let least = Infinity;
      let most = -Infinity;
      for (let i = k * STEP, end = Math.min(i + STEP, values.length); i < end; i++) {
        const v = values[i];
        if (v < least) least = v;
        if (v > most) most = v;
      }
      low[k] = least > most ? NaN : least;
      high[k] = least > most ? NaN : most;
    }
    return { low, high };
  }

  async function load(session) {
    session.values = [];
    for (const blob of session.blobs) {
      const bytes = await unpacked(document.getElementById(blob.id).textContent);
      for (let at = 0; at < blob.columns; at++) {
        const { scale, offset } = session.columns[session.values.length];
        session.values.push(column(bytes, 2 * at * session.rows, session.rows, scale, offset));
      }
    }
    return prepared(session);
  }

  /* What is looked up often: the coarse tables, and where each run of rows stands in the arrays. */
  function prepared(session) {
    session.coarse = session.values.map(coarse);
    let index = 0;
    session.stretches = session.runs.map(([first, count]) => {
      const stretch = { index, first, count };
      index += count;
      return stretch;
    });
    return session;
  }

  function range(session) {
    if (session.range_s) return session.range_s;
    const last = session.runs[session.runs.length - 1];
    if (!last) return [0, 1];
    return [session.runs[0][0] * session.period_s, (last[0] + last[1]) * session.period_s];
  }

  /* Index of the sample nearest to a time, -1 without samples. */
  function nearest(session, time) {
    let best = -1;
    let apart = Infinity;
    const row = time / session.period_s;
    for (const { index, first, count } of session.stretches) {
      const inside = Math.min(Math.max(Math.round(row) - first, 0), count - 1);
      const away = Math.abs(first + inside - row);
      if (away < apart) {
        apart = away;
        best = index + inside;
      }
    }
    return best;
  }

  function timeAt(session, index) {
    for (const stretch of session.stretches) {
      if (index < stretch.index + stretch.count) return (stretch.first + index - stretch.index) * session.period_s;
    }
    return NaN;
  }

  /* The parts of a window as {from, to, row}: indexes from..to-1, the first one's row number. */
  function parts(session, start, end) {
    const out = [];
    const a = Math.floor(start / session.period_s);
    const b = Math.ceil(end / session.period_s) + 1;
    for (const { index, first, count } of session.stretches) {
      const low = Math.max(a, first);
      const high = Math.min(b, first + count);
      if (low < high) out.push({ from: index + low - first, to: index + high - first, row: low });
    }
    return out;
  }

  /* Least and most of samples from..to-1, by way of the coarse table where that is shorter: [low, high]. */
  function extremes(session, at, from, to) {
    const values = session.values[at];
    let least = Infinity;
    let most = -Infinity;
    let i = from;
    if (to - from > 3 * STEP) {
      const { low, high } = session.coarse[at];
      const first = Math.ceil(from / STEP);
      const last = Math.floor(to / STEP);
      for (let k = first; k < last; k++) {
        if (low[k] < least) least = low[k];
        if (high[k] > most) most = high[k];
      }
      for (; i < first * STEP; i++) {
        if (values[i] < least) least = values[i];
        if (values[i] > most) most = values[i];
      }
      i = last * STEP;
    }
    for (; i < to; i++) {
      if (values[i] < least) least = values[i];
      if (values[i] > most) most = values[i];
    }
    return [least, most];
  }

  return { load, prepared, range, nearest, timeAt, parts, extremes };
})();
