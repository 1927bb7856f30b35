"use strict";
/* The live page: what comes is kept for two minutes and shown at once; what is old is never shown as if it were new. */
(() => {
  const at = (id) => document.getElementById(id);
  const known = JSON.parse(at("known").textContent);
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const colours = () => (dark.matches ? known.colours.dark : known.colours.light);
  const OLD_MS = 1500;
  const REACH = 0.1; // lambda at the end of the bar
  const EVEN = 0.0005; // lambda: less is no difference in the figures that are shown
  let about = null;
  let readings = [];
  let trouble = null;
  let ended = false;
  let heard = performance.now();
  let shown = {};

  function node(tag, kind, words = "") {
    const out = document.createElement(tag);
    out.className = kind;
    out.textContent = words;
    return out;
  }

  const text = (one, words) => {
    if (one.textContent !== words) one.textContent = words;
  };

  /* The figures of a session: mixture first, then speed and load, then the other channels. */
  function build() {
    const figures = at("figures");
    figures.replaceChildren();
    shown = { figures: [], bars: [] };
    const order = [...about.columns.keys()];
    const rank = (n) => (about.columns[n].role === "lambda" ? 0 : about.columns[n].role === "speed" ? 1 : n === about.load ? 2 : 3);
    const [mixtures, larges, rest] = ["mixtures", "larges", "rest"].map((kind) => node("div", kind));
    for (const n of order.sort((one, other) => rank(one) - rank(other) || one - other)) {
      const one = about.columns[n];
      const box = node("div", ["mixture", "large", "large", "small"][rank(n)]);
      const name = node("p", "name", one.label);
      const value = node("p", "figure", "–");
      const unit = node("span", "unit");
      name.append(unit);
      box.append(name, value);
      if (!rank(n)) {
        const off = node("p", "off");
        const bar = node("div", "bar-off");
        bar.setAttribute("aria-hidden", "true");
        const fill = node("div", "fill");
        bar.append(node("span", "end", "rich"), fill, node("div", "middle"), node("span", "end right", "lean"));
        box.append(off, bar);
        shown.bars.push({ n, off, fill, bar });
      }
      shown.figures.push({ n, value, unit });
      [mixtures, larges, larges, rest][rank(n)].append(box);
    }
    figures.classList.toggle("banks", mixtures.children.length > 1);
    figures.append(...[mixtures, larges, rest].filter((one) => one.children.length));
    at("vehicle").textContent = about.vehicle || "Logger";
    drawn();
  }

  const drawn = () => past.build(at("lines"), about, colours(), readings);

  function tell() {
    const now = readings[readings.length - 1];
    const old = ended || trouble || !now || performance.now() - heard > OLD_MS;
    document.body.classList.toggle("old", Boolean(old));
    banner(now, old);
    if (!about || !now) return;
    at("facts").textContent = `session ${about.session}, ${now.time_s.toFixed(0)} s${now.lost ? `, ${now.lost} rows lost` : ""}`;
    for (const { n, value, unit } of shown.figures) {
      const one = about.columns[n];
      const state = now.states[one.channel];
      const told = state || units.ofChannel(one, now.values[n] === null ? NaN : now.values[n]);
      const [figure, ...rest] = state ? [state] : told.split(" ");
      text(value, old ? "–" : figure);
      value.classList.toggle("words", Boolean(state) && !old);
      text(unit, rest.length ? `, ${rest.join(" ")}` : "");
    }
    for (const { n, off, fill, bar } of shown.bars) mixture(now, old ? null : now.values[n], off, fill, bar);
  }

  /* How far the mixture is from what is wanted, in words and as a bar from the middle. */
  function mixture(now, value, off, fill, bar) {
    const both = value !== null && now.target !== null;
    const more = both ? value - now.target : 0;
    bar.classList.toggle("none", !both);
    if (value === null) text(off, document.body.classList.contains("old") ? "" : "outside the sensor's range");
    else if (now.target === null) text(off, "no target here");
    else {
      const by = units.told("difference", more, 3, now.target).replace("-", "");
      const side = Math.abs(more) < EVEN ? "as wanted" : `${by} ${more > 0 ? "leaner" : "richer"}`;
      text(off, `${side} (wanted ${units.told("lambda", now.target, 3)})`);
    }
    const share = Math.max(-1, Math.min(1, more / REACH)) * 50;
    fill.style.left = `${50 + Math.min(0, share)}%`;
    fill.style.width = `${Math.abs(share)}%`;
    fill.classList.toggle("lean", more > 0);
  }

  function banner(now, old) {
    let state = "recording";
    let words = "recording";
    if (ended) [state, words] = ["trouble", "The command has ended: these values are of the past. Give it again, and open its new address."];
    else if (trouble) [state, words] = ["trouble", `No values: ${trouble[0]}. Likely cause: ${trouble[1]}. What to do: ${trouble[2]}.`];
    else if (!now) [state, words] = ["waiting", "waiting for the logger"];
    else if (old) [state, words] = ["trouble", "no values for a moment"];
    else if (now.lean) [state, words] = ["lean", "▲ LEAN: the logger warns"];
    else if (now.fault) [state, words] = ["fault", `! ${now.fault}`];
    else if (now.pull) [state, words] = ["pull", `● pull ${now.pull} is being marked`];
    at("banner").dataset.state = state;
    text(at("banner"), words);
  }

  function heardNews(event) {
    const told = JSON.parse(event.data);
    if (told.about) {
      if (!about) units.start(told.about.fuel);
      else if (JSON.stringify(about.fuel) !== JSON.stringify(told.about.fuel)) location.reload();
      readings = [];
      about = told.about;
    }
    if (told.readings) {
      readings.push(...told.readings);
      const last = readings[readings.length - 1].time_s;
      while (last - readings[0].time_s > past.SPAN_S) readings.shift();
      heard = performance.now();
    }
    if (told.about) build();
    if ("trouble" in told) trouble = told.trouble;
    if ("pulls" in told && told.pulls) {
      at("pulls").innerHTML = told.pulls; // our own server's, with every text escaped
      units.refresh();
    }
    if (told.readings) past.later();
    tell();
  }

  const news = new EventSource("/news");
  news.addEventListener("message", heardNews);
  news.addEventListener("error", () => {
    ended = true;
    news.close();
    tell();
  });
  setInterval(tell, 500);
  units.changed(() => about && (build(), tell()));
  dark.addEventListener("change", () => about && drawn());
  addEventListener("resize", past.resize);
})();
