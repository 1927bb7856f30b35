"use strict";
/* How the traces look: which columns share a panel, colour and dash of each line, the room that values need. */
const looks = (() => {
  const MIXTURE = ["lambda", "aligned", "target", "commanded"];
  const DASHED = [8, 3];
  const [NONE, CROSS, TRIANGLE, BAR] = [-1, 1, 2, 3]; // as drawing.js numbers its shapes
  const SIGNS = { [CROSS]: "×", [TRIANGLE]: "△", [BAR]: "|" };
  const OVER_DASHES = [[6, 3], [2, 3], [10, 3, 2, 3], [14, 4]];

  /* Numbers of the columns of each panel: all of the mixture together, then engine speed, then the others. */
  function groups(columns) {
    const of = (test) => columns.map((one, at) => (test(one) ? at : -1)).filter((at) => at >= 0);
    const first = of((one) => MIXTURE.includes(one.role));
    const out = first.length ? [first] : [];
    for (const at of of((one) => one.role === "speed")) out.push([at]);
    for (const at of of((one) => !MIXTURE.includes(one.role) && !["speed", "loaded"].includes(one.role))) out.push([at]);
    return out;
  }

  /* Colour, dash and width of a column's line. Of several banks the second and those after it are dashed. mark: number of
     the shape that stands among its dots against speed, so that no line is known by its colour alone. */
  function line(columns, at, colours) {
    const { role } = columns[at];
    const nth = columns.slice(0, at).filter((one) => one.role === role).length;
    const dash = nth ? DASHED : [];
    const mark = nth ? CROSS : NONE;
    if (role === "target") return { colour: colours.target, dash: [3, 4], width: 1.5, mark: BAR };
    if (role === "lambda") return { colour: colours.measured, dash, width: 1, mark };
    if (role === "aligned") return { colour: colours.lines[nth % colours.lines.length], dash, width: 1.8, mark };
    if (role === "commanded") return { colour: colours.lines[2], dash: [10, 3, 2, 3], width: 1.4, mark: TRIANGLE };
    return { colour: colours.lines[0], dash: [], width: 1.4, mark: NONE };
  }

  /* How the nth pull that is laid over looks: colour, dash over time, shape over speed. */
  const over = (nth, colours) => ({
    colour: colours.lines[1 + (nth % (colours.lines.length - 1))],
    dash: OVER_DASHES[nth % OVER_DASHES.length],
    shape: nth % OVER_DASHES.length,
  });

  function limits(session, group) {
    let low = Infinity;
    let high = -Infinity;
    for (const at of group) {
      const { low: least, high: most } = session.coarse[at];
      for (let k = 0; k < least.length; k++) {
        if (least[k] < low) low = least[k];
        if (most[k] > high) high = most[k];
      }
    }
    if (low > high) return [0, 1];
    const room = (high - low) * 0.06 || Math.abs(high) * 0.05 || 1;
    return [low - room, high + room];
  }

  const SPAN = 0.3; // lambda: a hole of 0.1 fills a third of the panel's height
  const BELOW = 0.05;

  /* The target's surroundings in the pulls, with the lean events in them; null where no target is known there. */
  function near(session, id, group, spans) {
    const target = group.find((at) => session.columns[at].role === "target");
    if (target === undefined) return null;
    const of = (kind, at) => {
      let ends = [Infinity, -Infinity];
      for (const { start_s, end_s } of spans.filter((one) => one.session === id && one.kind === kind)) {
        for (const { from, to } of samples.parts(session, start_s, end_s)) {
          const [low, high] = samples.extremes(session, at, from, to);
          ends = [Math.min(ends[0], low), Math.max(ends[1], high)];
        }
      }
      return ends;
    };
    const low = of("pull", target)[0] - BELOW;
    const deepest = Math.max(...group.filter((at) => session.columns[at].role === "aligned").map((at) => of("lean", at)[1]), -Infinity);
    return Number.isFinite(low) ? [low, Math.max(low + SPAN, deepest + BELOW / 2)] : null;
  }

  /* A column's entry in the head of its panel; the node for its value. */
  function readout(head, columns, at, colours) {
    const { colour, dash, mark } = line(columns, at, colours);
    const item = document.createElement("span");
    const key = document.createElement("span");
    key.className = "key";
    key.style.borderTopColor = colour;
    key.style.borderTopStyle = dash.length ? "dashed" : "solid";
    const unit = document.createElement("span");
    unit.className = "unit";
    const value = document.createElement("span");
    value.className = "value";
    value.dataset.column = columns[at].column;
    const sign = document.createElement("span");
    sign.className = "sign-of-speed";
    sign.textContent = SIGNS[mark] || "";
    const label = document.createElement("bdi"); // whatever is in it, the number after it reads from left to right
    label.textContent = columns[at].label;
    item.append(key, sign, label, unit, " ", value);
    head.append(item);
    return value;
  }

  return { groups, line, over, limits, near, readout };
})();
