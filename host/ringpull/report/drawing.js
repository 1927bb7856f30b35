"use strict";
/* Lines of samples on a panel's canvas: every sample where there is room, else least and most of each pixel. */
const drawing = (() => {
  const LABELS = 30; // px above the first panel

  /* One column over time. place: {left, width, x(time), y(value)} in canvas pixels. */
  function overTime(context, session, at, start, end, place) {
    context.beginPath();
    const perPixel = (end - start) / session.period_s / place.width;
    for (const part of samples.parts(session, start, end)) {
      if (perPixel <= 1) every(context, session, at, part, place);
      else bars(context, session, at, part, start, perPixel, place);
    }
    if (perPixel <= 1) context.stroke();
  }

  function every(context, session, at, { from, to, row }, place) {
    const values = session.values[at];
    let pen = false;
    for (let i = from; i < to; i++) {
      const value = values[i];
      if (value !== value) {
        pen = false;
        continue;
      }
      const x = place.x((row + i - from) * session.period_s);
      const y = place.y(value);
      if (pen) context.lineTo(x, y);
      else {
        context.moveTo(x, y);
        context.lineTo(x + 0.5, y);
      }
      pen = true;
    }
  }

  /* A bar for each pixel, from least to most, drawn so far that it touches the one before: a tenth of the time that a
     line takes on a canvas without a graphics processor. */
  function bars(context, session, at, { from, to, row }, start, perPixel, place) {
    const origin = start / session.period_s;
    const first = Math.floor((row - origin) / perPixel);
    const last = Math.floor((row + to - from - 1 - origin) / perPixel);
    const thick = Math.max(1, Math.round(context.lineWidth));
    const dashed = context.getLineDash().length > 0;
    const zero = place.y(0);
    const slope = place.y(1) - zero;
    let above = NaN;
    let below = NaN;
    for (let pixel = first; pixel <= last; pixel++) {
      const low = Math.max(from, from + Math.ceil(origin + pixel * perPixel) - row);
      const high = Math.min(to, from + Math.ceil(origin + (pixel + 1) * perPixel) - row);
      if (high <= low) continue;
      const [least, most] = samples.extremes(session, at, low, high);
      if (least > most) {
        above = below = NaN;
        continue;
      }
      const top = zero + slope * most;
      const bottom = zero + slope * least;
      const begin = Math.round(top > below ? below : top);
      const end = Math.round(bottom < above ? above : bottom);
      if (!dashed || pixel % 6 < 3) context.fillRect(place.left + pixel, begin, thick, Math.max(end - begin, thick));
      above = top;
      below = bottom;
    }
  }

  /* Marks that tell pulls apart without colour: square, cross, triangle, bar. */
  const SHAPES = [
    (context, x, y, r) => context.strokeRect(x - r, y - r, 2 * r, 2 * r),
    (context, x, y, r) => stroke(context, [[x - r, y - r], [x + r, y + r]], [[x - r, y + r], [x + r, y - r]]),
    (context, x, y, r) => stroke(context, [[x - r, y + r], [x, y - r], [x + r, y + r], [x - r, y + r]]),
    (context, x, y, r) => stroke(context, [[x, y - r], [x, y + r]]),
  ];

  function stroke(context, ...lines) {
    context.beginPath();
    for (const line of lines) line.forEach(([x, y], at) => (at ? context.lineTo(x, y) : context.moveTo(x, y)));
    context.stroke();
  }

  const FAINT = 0.16; // of samples that are not under load: overrun, gear changes

  /* One column against engine speed: a dot for each sample of the windows, faint where it is not under load. shape: every
     16th as a mark of this number instead. */
  function overSpeed(context, session, at, speedAt, windows, place, shape = -1) {
    const values = session.values[at];
    const speeds = session.values[speedAt];
    const loaded = session.values[session.columns.findIndex((one) => one.role === "loaded")];
    const size = Math.max(1, window.devicePixelRatio);
    for (const { start_s, end_s } of windows) {
      for (const { from, to } of samples.parts(session, start_s, end_s)) {
        for (let i = from; i < to; i++) {
          if (shape >= 0 && i % 16) continue;
          if (values[i] === values[i] && speeds[i] === speeds[i]) {
            if (loaded) context.globalAlpha = loaded[i] > 0.5 ? 1 : FAINT;
            if (shape >= 0) SHAPES[shape](context, place.x(speeds[i]), place.y(values[i]), 2.5 * size);
            else context.fillRect(place.x(speeds[i]) - size / 2, place.y(values[i]) - size / 2, 1.5 * size, 1.5 * size);
          }
        }
      }
    }
    context.globalAlpha = 1;
  }

  /* Lean events against engine speed: grounds over their speeds, with their numbers above the first panel. */
  function speedGrounds(context, spans, place, box, colours, first) {
    const ratio = window.devicePixelRatio;
    let free = -Infinity;
    const lean = spans.filter((span) => span.kind === "lean" && span.rpm_from !== undefined);
    for (const span of lean.sort((one, other) => one.rpm_from - other.rpm_from)) {
      const a = Math.max(place.x(span.rpm_from), box.left);
      const b = Math.min(place.x(span.rpm_to), box.left + box.width);
      if (b <= a) continue;
      context.fillStyle = colours.lean;
      context.globalAlpha = 0.22 / Math.max(1, lean.length / 2);
      context.fillRect(a, box.top, b - a, box.height);
      context.globalAlpha = 1;
      const words = "▲" + span.number;
      if (!first || a < free) continue;
      context.textAlign = "left";
      context.fillText(words, a, box.top - 3 * ratio);
      free = a + context.measureText(words).width + 6 * ratio;
    }
  }

  /* Pulls and lean events as grounds behind the lines. */
  function grounds(context, spans, place, box, colours) {
    for (const span of spans) {
      const a = Math.max(place.x(span.start_s), box.left);
      const b = Math.min(place.x(span.end_s), box.left + box.width);
      if (b <= a) continue;
      const lean = span.kind !== "pull";
      context.globalAlpha = span.kind === "lean" ? 0.22 : 0.1;
      context.fillStyle = lean ? colours.lean : colours.edge;
      context.fillRect(a, box.top, b - a, box.height);
      context.globalAlpha = 1;
    }
  }

  /* Their names, in two lines above the panel: pulls, below them lean events; one that would cover another is left out. */
  function labels(context, spans, place, box, colours) {
    const ratio = window.devicePixelRatio;
    const free = { pull: -Infinity, lean: -Infinity, lamp: -Infinity };
    const up = { pull: 16, lean: 3, lamp: 3 };
    context.textAlign = "left";
    context.textBaseline = "alphabetic";
    for (const span of [...spans].sort((one, other) => one.start_s - other.start_s)) {
      const a = Math.max(place.x(span.start_s), box.left);
      const b = Math.min(place.x(span.end_s), box.left + box.width);
      const words = { pull: "pull " + span.number, lean: "▲" + span.number, lamp: "lamp" }[span.kind];
      const long = context.measureText(words).width;
      if (b <= a || a < free[span.kind] || a + long > box.left + box.width) continue;
      context.fillStyle = span.kind === "lean" ? colours.lean : colours.quiet;
      if (span.kind === "lamp" && a < free.lean) continue;
      context.fillText(words, a, box.top - up[span.kind] * ratio);
      free[span.kind] = a + long + 6 * ratio;
    }
  }

  return { LABELS, overTime, overSpeed, speedGrounds, grounds, labels };
})();
