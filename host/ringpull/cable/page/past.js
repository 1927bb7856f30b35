"use strict";
/* The last two minutes: a panel for the mixture, one for each other channel, all on one axis that ends now. */
const past = (() => {
  const SPAN_S = 120;
  const HOLE_S = 1; // longer without a reading: the line is broken
  const AXIS = 58;
  const HEIGHT = 96;
  const MIXTURE_HEIGHT = 190;
  const LEAST_LAMBDA = 0.3; // of the mixture's panel
  let panels = [];
  let columns = [];
  let colours = {};
  let readings = [];
  let waiting = false;
  const DASHES = [[], [8, 3], [10, 3, 2, 3], [5, 5]];

  const mixture = (one) => one.role === "lambda" || one.role === "commanded";

  function build(root, about, now, kept) {
    for (const { plot } of panels) plot.destroy();
    colours = now;
    readings = kept;
    columns = about.columns;
    const numbers = columns.map((_, at) => at);
    const first = numbers.filter((at) => mixture(columns[at]));
    const groups = [...(first.length ? [first] : []), ...numbers.filter((at) => columns[at].role === "speed").map((at) => [at]), ...numbers.filter((at) => !mixture(columns[at]) && columns[at].role !== "speed").map((at) => [at])];
    root.replaceChildren();
    panels = groups.map((group, nth) => made(root, group, nth === 0 && first.length > 0));
    draw();
  }

  function made(root, group, wide) {
    const box = document.createElement("div");
    box.className = wide ? "line wide" : "line";
    const head = document.createElement("p");
    head.className = "head";
    const unit = units.unitName(columns[group[0]]);
    head.textContent = group.map((at, nth) => columns[at].label + (nth ? " (dashed)" : "")).join(", ") + (wide ? "; wanted: dotted" : unit ? `, ${unit}` : "");
    box.append(head);
    root.append(box);
    const panel = { box, group, wide, limits: [0, 1] };
    const axis = { stroke: () => colours.quiet, grid: { stroke: () => colours.rule, width: 1 }, ticks: { show: false }, font: "12px system-ui, sans-serif" };
    const column = columns[group[0]];
    const ticks = (low, high) => units.ticksOf(column, low, high, wide ? 7 : 3);
    const lines = group.map((at, nth) => ({ stroke: () => colours.lines[nth % colours.lines.length], width: 2, dash: DASHES[nth % DASHES.length], points: { show: false } }));
    if (wide) lines.push({ stroke: () => colours.target, width: 1.5, dash: [3, 4], points: { show: false } });
    panel.plot = new uPlot(
      {
        width: Math.max(box.clientWidth, 200),
        height: wide ? MIXTURE_HEIGHT : HEIGHT,
        padding: [8, 22, 0, 0],
        legend: { show: false },
        cursor: { show: false },
        scales: { x: { time: false, range: () => [-SPAN_S, 0] }, y: { range: () => panel.limits } },
        axes: [
          { ...axis, size: 20, splits: () => [-120, -90, -60, -30, 0], values: (u, some) => some.map((one) => (one ? `${one} s` : "now")) },
          { ...axis, size: AXIS, splits: (u, nth, low, high) => ticks(low, high).map(([value]) => value), values: (u, some) => some.map((value) => (ticks(...panel.limits).find(([one]) => one === value) || [0, ""])[1]) },
        ],
        series: [{}, ...lines],
        hooks: { drawClear: [(u) => grounds(u, wide)] },
      },
      [[], ...lines.map(() => [])],
      box,
    );
    return panel;
  }

  /* Marked pulls as a ground, where the logger's lamp warned of lean a darker one with its sign. */
  function grounds(u, first) {
    const { left, top, width, height } = u.bbox;
    const ratio = window.devicePixelRatio;
    const context = u.ctx;
    context.save();
    context.beginPath();
    context.rect(left, top, width, height);
    context.clip();
    context.textAlign = "left";
    for (const [kind, colour, sign] of [["pull", colours.edge, ""], ["lean", colours.lean, "▲"]]) {
      for (const { from, to, value } of stretches(kind)) {
        const a = u.valToPos(from, "x", true);
        const b = Math.max(u.valToPos(to, "x", true), a + ratio);
        context.fillStyle = colour;
        context.globalAlpha = 0.2;
        context.fillRect(a, top, b - a, height);
        context.globalAlpha = 1;
        context.font = `${12 * ratio}px system-ui, sans-serif`;
        if (first) context.fillText(sign || `pull ${value}`, a + 3 * ratio, top + (sign ? 26 : 12) * ratio);
      }
    }
    context.restore();
  }

  /* Where a reading's pull or lean warning is on, in seconds before now. */
  function stretches(kind) {
    const out = [];
    const now = readings.length ? readings[readings.length - 1].time_s : 0;
    let open = null;
    for (const one of readings) {
      const value = Number(one[kind]);
      const at = one.time_s - now;
      if (open && open.value === value && at - open.to <= HOLE_S) open.to = at;
      else open = null;
      if (!open && value) out.push((open = { from: at, to: at, value }));
    }
    return out;
  }

  function draw() {
    waiting = false;
    if (!readings.length) return;
    const now = readings[readings.length - 1].time_s;
    const times = [];
    const kept = [];
    readings.forEach((one, at) => {
      if (at && one.time_s - readings[at - 1].time_s > HOLE_S) {
        times.push(readings[at - 1].time_s - now + 0.001);
        kept.push(null);
      }
      times.push(one.time_s - now);
      kept.push(one);
    });
    for (const panel of panels) {
      const values = panel.group.map((at) => kept.map((one) => (one ? one.values[at] : null)));
      if (panel.wide) values.push(kept.map((one) => (one ? one.target : null)));
      panel.limits = limits(values, panel.wide);
      panel.plot.setData([times, ...values]);
    }
  }

  function limits(values, wide) {
    let low = Infinity;
    let high = -Infinity;
    for (const line of values) {
      for (const value of line) {
        if (value === null) continue;
        if (value < low) low = value;
        if (value > high) high = value;
      }
    }
    if (low > high) return wide ? [0.7, 1.3] : [0, 1];
    const least = wide ? LEAST_LAMBDA : Math.max(Math.abs(high), Math.abs(low)) * 0.1 || 1;
    const room = Math.max((high - low) * 0.08, (least - (high - low)) / 2);
    return [low - room, high + room];
  }

  /* Draw with the next frame; several readings that come together are drawn once. */
  function later() {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(draw);
  }

  function resize() {
    for (const { box, plot, wide } of panels) plot.setSize({ width: Math.max(box.clientWidth, 200), height: wide ? MIXTURE_HEIGHT : HEIGHT });
  }

  return { SPAN_S, build, later, resize };
})();
