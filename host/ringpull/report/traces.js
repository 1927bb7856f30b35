"use strict";
/* The traces: one panel for each kind of channel, all on one axis with one cursor. */
const traces = (() => {
  const HEIGHT = 118;
  const LAST_HEIGHT = 168;
  const MIXTURE_MORE = 50; // px that the first panel is higher by on a screen
  const REST_MS = 60;
  const MOST_ASKED = 200000; // rows, of a drive that is read a window at a time
  const AXIS = 58;
  const SIDE = 12;
  const PAPER = 688; // px: what is left of an A4 page's width between the margins
  const PAPER_HIGH = 850; // the same of its height, without title, labels and axis
  const PAPER_HEAD = 19; // of each panel
  const PAPER_LEAST = 48;
  /* session: what is known of it; shown: the samples at hand, all of them or those of a window; overs: other pulls laid
     over it, each {session, span, shown, shift} */
  const state = { session: null, shown: null, overs: [], start: 0, end: 1, mode: "time", pull: null, index: -1, time: 0, near: true };
  let panels = [];
  let high = HEIGHT;
  let spans = [];
  let colours = {};
  let echo = false;
  let pending = false;
  let rest = 0;
  const watcher = new IntersectionObserver((entries) => {
    for (const { target, isIntersecting } of entries) {
      const panel = panels.find((one) => one.box === target);
      if (panel) panel.seen = isIntersecting;
    }
  });
  const root = () => document.getElementById("panels");

  const speedColumn = () => state.session.columns.findIndex((one) => one.role === "speed");
  const here = () => spans.filter((span) => span.session === state.session.id);

  /* Spans of time whose samples are drawn against speed: pulls, or everything. Where samples have to be asked for, only
     so many. */
  function windows() {
    const pulls = here().filter((span) => span.kind === "pull" && (state.pull === null || span.number === state.pull));
    const [start_s, end_s] = samples.range(state.session);
    const chosen = pulls.length ? pulls : [{ start_s, end_s }];
    if (!state.session.ask) return chosen;
    let room = MOST_ASKED * state.session.period_s;
    const out = [];
    for (const span of chosen) {
      const size = Math.min(span.end_s - span.start_s, room);
      if (size > 0) out.push({ ...span, end_s: span.start_s + size });
      room -= size;
    }
    return out;
  }

  /* Say what is left out of a drawing against speed. */
  function tellLimit() {
    const note = document.getElementById("limited");
    if (!note) return;
    const [shown, pulls] = [windows(), here().filter((span) => span.kind === "pull").length];
    const cut = state.mode === "speed" && state.pull === null && (pulls ? shown.length < pulls : true);
    note.textContent = cut ? (pulls ? `the first ${shown.length} of ${pulls} pulls` : `the first ${Math.round(shown[0].end_s - shown[0].start_s)} s`) : "";
  }

  function draw(panel, u) {
    const { left, top, width, height } = u.bbox;
    const context = u.ctx;
    Object.assign(panel.box.dataset, { start: u.scales.x.min, end: u.scales.x.max });
    const place = { left, width, x: (v) => u.valToPos(v, "x", true), y: (v) => u.valToPos(v, "y", true) };
    const ratio = window.devicePixelRatio;
    context.save();
    context.font = `${11 * ratio}px system-ui, sans-serif`;
    if (state.mode === "time" && panel.first) drawing.labels(context, here(), place, u.bbox, colours);
    context.beginPath();
    context.rect(left, top, width, height);
    context.clip();
    if (state.mode === "time") drawing.grounds(context, here(), place, u.bbox, colours);
    else {
      const shown = here().filter((one) => one.kind === "lean" && (state.pull === null || one.pull === state.pull));
      context.restore();
      context.save();
      context.font = `${11 * ratio}px system-ui, sans-serif`;
      drawing.speedGrounds(context, shown, place, u.bbox, colours, panel.first);
      context.beginPath();
      context.rect(left, top, width, height);
      context.clip();
    }
    panel.group.forEach((at) => {
      const { colour, dash, width: thick, mark } = looks.line(state.session.columns, at, colours);
      context.strokeStyle = context.fillStyle = colour;
      context.lineWidth = thick * ratio;
      context.lineJoin = "round";
      context.setLineDash(dash.map((d) => d * ratio));
      if (state.mode === "time") drawing.overTime(context, state.shown, at, state.start, state.end, place);
      else for (const shape of mark < 0 ? [mark] : [-1, mark]) overSpeed(context, at, place, shape);
    });
    state.overs.forEach((over, nth) => over.shown && drawOver(context, panel, place, over, nth));
    context.restore();
  }

  function overSpeed(context, at, place, shape) {
    context.setLineDash([]);
    drawing.overSpeed(context, state.shown, at, speedColumn(), windows(), place, shape);
  }

  /* Another pull's channels of the same names over those of a panel; of several banks the others are thinner. */
  function drawOver(context, panel, place, { session, shown, shift, span }, nth) {
    const { colour, dash, shape } = looks.over(nth, colours);
    const speed = session.columns.findIndex((one) => one.role === "speed");
    const same = panel.group.map((at) => session.columns.findIndex((one) => one.column === state.session.columns[at].column));
    same.filter((at) => at >= 0).forEach((at, order) => {
      context.strokeStyle = context.fillStyle = colour;
      context.lineWidth = (order ? 0.8 : 1.6) * window.devicePixelRatio;
      context.setLineDash(dash.map((d) => d * window.devicePixelRatio));
      if (state.mode === "time") {
        const moved = { ...place, x: (time) => place.x(time + shift) };
        drawing.overTime(context, shown, at, state.start - shift, state.end - shift, moved);
      } else {
        context.setLineDash([]);
        context.lineWidth = window.devicePixelRatio;
        drawing.overSpeed(context, shown, at, speed, [span], place, shape);
      }
    });
  }

  const heightOf = (panel) => high + (panel.last ? LAST_HEIGHT - HEIGHT : 0) + (panel.first ? drawing.LABELS - 6 + (high === HEIGHT ? MIXTURE_MORE : 0) : 0);

  const ticksOf = (panel, column, low, high) => units.ticksOf(column, low, high, Math.max(3, Math.floor((heightOf(panel) - 30) / 20)));

  function options(panel, width) {
    const column = state.session.columns[panel.group[0]];
    const axis = { stroke: () => colours.quiet, grid: { stroke: () => colours.rule, width: 1 }, ticks: { show: false }, font: "12px system-ui, sans-serif" };
    return {
      width,
      height: heightOf(panel),
      padding: [panel.first ? drawing.LABELS : 6, SIDE, 0, 0],
      legend: { show: false },
      cursor: { y: false, points: { show: false }, drag: { x: true, y: false, setScale: false, dist: 5 }, bind: { dblclick: () => () => everything() } },
      scales: { x: { time: false, range: () => [state.start, state.end] }, y: { range: () => panel.limits } },
      axes: [
        { ...axis, size: panel.last ? 32 : 4, label: panel.last ? () => (state.mode === "time" ? "time, s" : "engine speed, rpm") : undefined, labelSize: 20, labelFont: "12px system-ui, sans-serif", labelGap: 2, values: panel.last ? (u, ticks) => ticks.map((v) => String(+v.toFixed(4))) : () => [] },
        { ...axis, size: AXIS, space: 26, splits: (u, nth, low, high) => ticksOf(panel, column, low, high).map(([v]) => v), values: (u, ticks) => { const [low, high] = panel.limits; const known = ticksOf(panel, column, low, high); return ticks.map((v) => (known.find(([one]) => one === v) || [0, ""])[1]); } },
      ],
      series: [{}, { show: true, paths: () => null, points: { show: false } }],
      hooks: {
        draw: [(u) => draw(panel, u)],
        setSelect: [(u) => selected(u)],
        setCursor: [(u) => moved(u)],
      },
    };
  }

  function selected(u) {
    const { left, width } = u.select;
    if (echo || width < 5) return;
    const a = u.posToVal(left, "x");
    const b = u.posToVal(left + width, "x");
    echo = true;
    for (const { plot } of panels) plot.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
    echo = false;
    show(a, b);
  }

  function moved(u) {
    if (echo || u.cursor.left < 0) return;
    place(u.posToVal(u.cursor.left, "x"), u.cursor.left);
  }

  /* Put the cursor at a value of the axis. */
  function place(value, left) {
    state.index = state.mode === "time" ? samples.nearest(state.shown, value) : nearestSpeed(value);
    state.time = state.mode === "time" && state.session.ask ? value : samples.timeAt(state.shown, state.index);
    told(left === undefined ? panels[0].plot.valToPos(value, "x") : left);
  }

  const nearestSpeed = (speed) => nearestTo(state.shown, speedColumn(), speed, windows());

  /* Index of the sample of some spans whose speed is nearest; -1 without any. */
  function nearestTo(shown, at, speed, some) {
    const speeds = shown.values[at];
    let best = -1;
    let apart = Infinity;
    for (const { start_s, end_s } of some) {
      for (const { from, to } of samples.parts(shown, start_s, end_s)) {
        for (let i = from; i < to; i++) {
          const away = Math.abs(speeds[i] - speed);
          if (away < apart) {
            apart = away;
            best = i;
          }
        }
      }
    }
    return best;
  }

  function told(left) {
    echo = true;
    for (const { plot } of panels) plot.setCursor({ left, top: 10 }, false);
    echo = false;
    values();
  }

  function values() {
    const { session, shown, index } = state;
    if (session.row && index >= 0) exact(session);
    for (const panel of panels) {
      const unit = units.unitName(session.columns[panel.group[0]]);
      panel.head.querySelector(".unit").textContent = unit && unit !== "lambda" && index < 0 ? ", " + unit : "";
      panel.group.forEach((at, nth) => {
        const node = panel.readouts[nth];
        if (session.row && index >= 0) return;
        node.textContent = index < 0 ? "" : units.ofChannel(session.columns[at], shown.values[at][index]);
      });
    }
    if (index < 0) {
      document.getElementById("cursor").textContent = "";
      beside.hide();
      return;
    }
    tell(samples.timeAt(shown, index), index);
  }

  /* The row nearest to the cursor itself, where only least and most of many rows are at hand. */
  async function exact(session) {
    const asked = state.time;
    const wanted = () => asked === state.time && session === state.session;
    const row = await session.row(asked, wanted);
    if (!row || !wanted()) return;
    for (const panel of panels) {
      panel.group.forEach((at, nth) => {
        const value = row.values[at];
        panel.readouts[nth].textContent = units.ofChannel(session.columns[at], value === null ? NaN : value);
      });
    }
    state.beside = await Promise.all(state.overs.map((over) => over.session.row(asked - over.shift, wanted)));
    if (wanted()) tell(row.time_s, "");
  }

  /* Values of the pulls that are laid over at the cursor, for a column of this drive: one text each. */
  function ofOvers(column) {
    return state.overs.map((over, nth) => {
      const at = over.session.columns.findIndex((one) => one.column === column.column);
      if (at < 0 || !over.shown) return "";
      if (state.mode === "speed") {
        const speed = over.session.columns.findIndex((one) => one.role === "speed");
        const wanted = state.shown.values[speedColumn()][state.index];
        const row = nearestTo(over.shown, speed, wanted, [over.span]);
        return row < 0 ? "" : units.ofChannel(column, over.shown.values[at][row]);
      }
      const row = (state.beside || [])[nth];
      const value = row ? row.values[at] : null;
      return units.ofChannel(column, value === null ? NaN : value);
    });
  }

  function tell(time, index) {
    const note = document.getElementById("cursor");
    const inside = here().filter((span) => time >= span.start_s && time < span.end_s);
    const name = { pull: "pull ", lean: "lean event ", lamp: "the lamp warned" };
    const words = inside.map((span) => name[span.kind] + (span.number || ""));
    note.textContent = [`${time.toFixed(3)} s`, ...words].join(", ");
    const rows = panels.flatMap((panel) => panel.group.map((at, nth) => [state.session.columns[at].label, panel.readouts[nth].textContent, ...ofOvers(state.session.columns[at])]));
    if (state.overs.length) rows.unshift(["", "this", ...state.overs.map((over, nth) => over.short || `laid over ${nth + 1}`)]);
    beside.show(note.textContent, rows, anchor());
    root().dataset.cursor = String(time);
    root().dataset.index = String(index);
  }

  /* Where the cursor stands in the window: the pointer, or for the keys the cursor's line in the panels. */
  function anchor() {
    const plot = panels[0].plot;
    const box = panels[0].box.getBoundingClientRect();
    return { x: plot.over.getBoundingClientRect().left + plot.cursor.left, y: Math.max(box.top, 0) + 40 };
  }

  function extent() {
    if (state.mode === "time") return samples.range(state.session);
    if (!state.shown) return [0, 1];
    let low = Infinity;
    let high = -Infinity;
    for (const { start_s, end_s } of windows()) {
      for (const { from, to } of samples.parts(state.shown, start_s, end_s)) {
        const [least, most] = samples.extremes(state.shown, speedColumn(), from, to);
        low = Math.min(low, least);
        high = Math.max(high, most);
      }
    }
    return low < high ? [low, high] : [0, 1];
  }

  /* Show a window of the axis in every panel. */
  function show(start, end) {
    const [first, last] = extent();
    const least = state.mode === "time" ? 8 * state.session.period_s : 10;
    const size = Math.min(Math.max(end - start, least), last - first);
    state.start = Math.min(Math.max(start, first), last - size);
    state.end = state.start + size;
    Object.assign(root().dataset, { start: state.start, end: state.end, mode: state.mode });
    if (state.session.ask) fetched();
    if (pending) return;
    pending = true;
    requestAnimationFrame(() => {
      pending = false;
      refresh();
    });
  }

  /* Ask for the samples of the window; what is there already is drawn meanwhile. */
  async function fetched() {
    const { session, start, end, mode } = state;
    const overs = [...state.overs];
    if (mode === "speed") return;
    const width = root().clientWidth * window.devicePixelRatio;
    const [mine, ...others] = await Promise.all([
      session.ask(start, end, width),
      ...overs.map((over) => over.session.ask(start - over.shift, end - over.shift, width)),
    ]);
    const still = () => session === state.session && start === state.start && end === state.end && mode === state.mode;
    if (!still()) return;
    state.shown = mine;
    overs.forEach((over, nth) => (over.shown = others[nth]));
    if (state.index >= 0) state.index = samples.nearest(mine, state.time);
    refresh();
    if ([mine, ...others].every((one) => one.fine)) return;
    await session.later();
    if (still()) await fetched();
  }

  /* Ask again for the same window: more of the drive has been read. */
  async function reload() {
    await fetched();
    for (const panel of panels) {
      const [low, high] = looks.limits(state.shown, panel.group);
      if (Number.isFinite(low)) panel.whole = [Math.min(low, panel.whole[0]), Math.max(high, panel.whole[1])];
    }
    rescale();
    refresh();
  }

  /* Panels on the screen at once; the others when the hand rests. */
  function refresh() {
    for (const panel of panels) panel.stale = true;
    redraw(panels.filter((panel) => panel.seen));
    clearTimeout(rest);
    rest = setTimeout(() => redraw(panels.filter((panel) => panel.stale)), REST_MS);
  }

  function redraw(some) {
    echo = true;
    for (const panel of some) {
      const { plot } = panel;
      panel.stale = false;
      if (plot.scales.x.min === state.start && plot.scales.x.max === state.end) plot.redraw(false, true);
      else plot.setScale("x", { min: state.start, max: state.end });
    }
    echo = false;
  }

  /* All there is of the axis: over time no pull is chosen then. */
  function everything() {
    if (state.mode === "time" && state.pull !== null) {
      state.pull = null;
      const chooser = document.getElementById("window");
      if (chooser) chooser.value = "";
    }
    show(...extent());
  }

  /* Lambda's height: the target's surroundings, or all of it. */
  function rescale() {
    for (const panel of panels) {
      panel.limits = (state.near && panel.close) || panel.whole;
      panel.plot.setScale("y", { min: panel.limits[0], max: panel.limits[1] });
    }
  }

  function setNear(near) {
    state.near = near;
    rescale();
    refresh();
  }

  function zoom(factor) {
    const at = state.index >= 0 && state.mode === "time" ? state.time : (state.start + state.end) / 2;
    const middle = at > state.start && at < state.end ? at : (state.start + state.end) / 2;
    show(middle - (middle - state.start) * factor, middle + (state.end - middle) * factor);
  }

  const along = (share) => show(state.start + share * (state.end - state.start), state.end + share * (state.end - state.start));

  function step(count) {
    const { shown } = state;
    if (!shown.rows) return;
    if (state.mode === "speed") {
      const speed = state.index < 0 ? state.start : shown.values[speedColumn()][state.index];
      place(Math.min(Math.max(speed + count * 10, state.start), state.end));
      return;
    }
    const from = state.index < 0 ? samples.nearest(shown, state.start) - count : state.index;
    state.index = Math.min(Math.max(from + count, 0), shown.rows - 1);
    const time = (state.time = samples.timeAt(shown, state.index));
    if (time < state.start || time > state.end) {
      const half = (state.end - state.start) / 2;
      show(time - half, time + half);
      refresh();
    }
    told(panels[0].plot.valToPos(time, "x"));
  }

  /* stay: keep the window where it can be kept. */
  async function setMode(mode, stay = false) {
    if (mode === "speed" && state.session.ask) {
      state.shown = await state.session.raw(windows());
      await Promise.all(state.overs.map(async (over) => (over.shown = await over.session.raw([over.span]))));
    }
    if (stay && mode === state.mode) return show(state.start, state.end);
    state.mode = mode;
    tellLimit();
    if (mode === "time" && state.pull !== null) setPull(state.pull);
    else everything();
  }

  /* Lay other pulls over this drive, each with its start at start_s: [{session, span}]. */
  async function setOvers(list, start_s) {
    state.overs = list.map(({ session, span, short }) => ({ session, span, short, shown: null, shift: start_s - span.start_s }));
    await setMode(state.mode, true);
  }

  /* Show one pull with a second around it, or with null everything. */
  function setPull(number) {
    state.pull = number;
    const span = here().find((one) => one.kind === "pull" && one.number === number);
    if (state.mode === "speed") setMode("speed");
    else if (!span) everything();
    else show(span.start_s - 1, span.end_s + 1);
  }

  function setSpans(everySpan) {
    spans = everySpan;
    refresh();
  }

  /* What is on the screen: spans of time, and of engine speed (a column, from low to high), if that is the axis. */
  function seen() {
    const { start, end, mode } = state;
    if (mode === "time") return { spans: [{ start_s: start, end_s: end }], column: -1, low: 0, high: 0 };
    return { spans: windows(), column: speedColumn(), low: start, high: end };
  }

  /* Put the cursor on a time and, unless told otherwise, bring that to the middle. */
  function centre(time, move = true) {
    const half = (state.end - state.start) / 2;
    if (move) show(time - half, time + half);
    redraw(panels); // those off the screen too: the cursor's place is counted on the first one's axis
    queueMicrotask(() => place(time)); // after the new axis holds
    root().scrollIntoView({ block: "nearest" });
  }

  /* kept: state of the traces to go on with, where the same session gets more columns. */
  function build(session, everySpan, palette, shown = session, kept = null) {
    for (const { plot } of panels) plot.destroy();
    watcher.disconnect();
    root().replaceChildren();
    const index = kept && kept.index >= 0 ? samples.nearest(shown, kept.time) : -1;
    Object.assign(state, { session, shown, overs: [], index, pull: kept ? kept.pull : null });
    spans = everySpan;
    colours = palette;
    [state.start, state.end] = kept ? [kept.start, kept.end] : extent();
    const groups = looks.groups(session.columns);
    const width = root().clientWidth;
    panels = groups.map((group, nth) => {
      const panel = { group, seen: true, first: nth === 0, last: nth === groups.length - 1, whole: looks.limits(shown, group) };
      panel.close = panel.first ? looks.near(shown, session.id, group, spans) : null;
      panel.limits = panel.whole;
      const box = document.createElement("div");
      box.className = "panel";
      panel.box = box;
      panel.head = document.createElement("div");
      panel.head.className = "head";
      panel.readouts = group.map((at) => looks.readout(panel.head, session.columns, at, colours));
      box.append(panel.head);
      root().append(box);
      panel.plot = new uPlot(options(panel, width), [[state.start, state.end], [null, null]], box);
      return panel;
    });
    for (const { box } of panels) watcher.observe(box);
    rescale();
    values();
    show(state.start, state.end);
  }

  function resize(width = root().clientWidth) {
    for (const panel of panels) panel.plot.setSize({ width, height: heightOf(panel) });
  }

  /* As wide as paper, and so high that all panels stand on one page with their axis; or as the page again. */
  function onPaper(paper) {
    const room = Math.floor(PAPER_HIGH / Math.max(panels.length, 1)) - PAPER_HEAD;
    high = paper ? Math.min(HEIGHT, Math.max(PAPER_LEAST, room)) : HEIGHT;
    resize(paper ? PAPER : root().clientWidth);
  }

  function recolour(palette) {
    colours = palette;
    for (const panel of panels) {
      panel.group.forEach((at, nth) => {
        panel.head.children[nth].firstChild.style.borderTopColor = looks.line(state.session.columns, at, colours).colour;
      });
      panel.plot.redraw(false, true);
    }
  }

  function restated() {
    for (const { plot } of panels) plot.redraw(false, true);
    if (panels.length) values();
  }

  const plotOf = (nth) => panels[nth].plot;

  return { build, plotOf, resize, onPaper, recolour, restated, setMode, setNear, setOvers, setPull, setSpans, reload, seen, centre, zoom, along, step, everything, state };
})();
