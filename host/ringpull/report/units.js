"use strict";
/* Units that the reader chose, for every number on the page. Which ones may be chosen stands in page.py. */
const units = (() => {
  const now = { mixture: "lambda", pressure: "kPa", temperature: "degC" };
  const listeners = [];
  let stoich = 14.7;
  const NAMES = { lambda: "lambda", afr: "air-fuel ratio", phi: "equivalence ratio" };
  const SHORT = { degC: "°C", degF: "°F" };
  const PER_KPA = { kPa: 1, bar: 0.01, psi: 0.1450377 };
  const FROM = { kPa: 1, bar: 100, mbar: 0.1, psi: 6.894757 };
  const MORE = { kPa: 0, bar: 2, psi: 1 };

  function mixture(value) {
    return now.mixture === "afr" ? value * stoich : now.mixture === "phi" ? 1 / value : value;
  }

  /* A value in its own units as [number, decimals, unit] in the chosen ones. */
  function converted(kind, value, digits, base) {
    if (kind === "lambda") return [mixture(value), now.mixture === "afr" ? Math.max(0, digits - 1) : digits, ""];
    if (kind === "difference" || kind === "width") {
      const less = now.mixture === "afr" ? Math.max(0, digits - 1) : digits;
      if (now.mixture === "afr") return [value * stoich, less, ""];
      if (now.mixture === "phi") {
        const at = base || 1;
        return [kind === "width" ? value / (at * at) : 1 / (at + value) - 1 / at, digits, ""];
      }
      return [value, digits, ""];
    }
    if (kind === "pressure") return [value * PER_KPA[now.pressure], digits + MORE[now.pressure], now.pressure];
    if (kind === "warming") {
      return [now.temperature === "degF" ? value * 1.8 : value, digits, SHORT[now.temperature]];
    }
    if (kind === "temperature") {
      return [now.temperature === "degF" ? value * 1.8 + 32 : value, digits, SHORT[now.temperature]];
    }
    return [value, digits, ""];
  }

  /* A channel's value by its role and unit, as text with its unit. */
  function ofChannel(column, value) {
    if (!Number.isFinite(value)) return "–";
    if (column.words) return column.words[value] || String(value);
    const [kind, factor] = kindOf(column);
    const [number, digits, unit] = converted(kind, value * factor, digitsOf(column, kind));
    return number.toFixed(digits) + (kind ? (unit ? " " + unit : "") : column.unit ? " " + column.unit : "");
  }

  function kindOf(column) {
    if (["lambda", "aligned", "target", "commanded"].includes(column.role)) return ["lambda", 1];
    if (column.unit in FROM) return ["pressure", FROM[column.unit]];
    if (column.unit === "degC") return ["temperature", 1];
    return ["", 1];
  }

  function digitsOf(column, kind) {
    if (kind === "lambda") return 3;
    if (kind === "pressure") return 1;
    return column.role === "speed" || column.unit === "counts" ? 0 : column.unit === "V" ? 2 : 1;
  }

  /* A value in the chosen units back in its own. */
  function back(kind, shown) {
    if (kind === "lambda") return now.mixture === "afr" ? shown / stoich : now.mixture === "phi" ? 1 / shown : shown;
    if (kind === "pressure") return shown / PER_KPA[now.pressure];
    if (kind === "temperature") return now.temperature === "degF" ? (shown - 32) / 1.8 : shown;
    return shown;
  }

  /* Ticks between two values of a kind, `most` of them or fewer, at round numbers of the chosen units: [[value, text]]. */
  function evenTicks(kind, low, high, most) {
    const ends = [low, high].map((value) => converted(kind, value, 0)[0]);
    const [first, last] = [Math.min(...ends), Math.max(...ends)];
    const rough = (last - first) / most;
    if (!(rough > 0) || !Number.isFinite(rough)) return [];
    const power = 10 ** Math.floor(Math.log10(rough));
    const step = [1, 2, 5, 10].map((one) => one * power).find((one) => one >= rough * (1 - 1e-9));
    const digits = Math.min(6, Math.max(0, -Math.floor(Math.log10(step) + 1e-9)));
    const out = [];
    for (let n = Math.ceil(first / step - 1e-9); n <= last / step + 1e-9; n++) {
      out.push([back(kind, n * step), (n * step + 0).toFixed(digits)]);
    }
    return out.sort((one, other) => one[0] - other[0]);
  }

  /* The same for a channel's axis, in the channel's own units. */
  function ticksOf(column, low, high, most) {
    if (column.words) return stateTicks(column.words, low, high);
    const [kind, factor] = kindOf(column);
    return evenTicks(kind, low * factor, high * factor, most).map(([value, words]) => [value / factor, words]);
  }

  /* The states of a channel that tells states, each with the first of its words. */
  function stateTicks(words, low, high) {
    const inside = Object.keys(words).map(Number).filter((value) => value >= low && value <= high);
    return inside.map((value) => [value, words[value].split(/[ ,]/)[0]]);
  }

  function unitName(column) {
    const [kind] = kindOf(column);
    if (kind === "lambda") return NAMES[now.mixture];
    return kind === "pressure" ? now.pressure : kind === "temperature" ? SHORT[now.temperature] : column.unit;
  }

  function rewrite() {
    document.body.dataset.mixture = now.mixture;
    for (const node of document.querySelectorAll(".q")) {
      const { q, v, d, b, bare } = node.dataset;
      const [number, digits, unit] = converted(q, Number(v), Number(d), Number(b));
      const sign = q === "difference" && number > 0 ? "+" : "";
      node.textContent = sign + number.toFixed(digits) + (unit && !bare ? "\u00a0" + unit : "");
    }
    for (const node of document.querySelectorAll(".q-name")) {
      const name = NAMES[now.mixture];
      node.textContent = node.closest("h2") ? name[0].toUpperCase() + name.slice(1) : name;
    }
    for (const node of document.querySelectorAll(".q-unit")) {
      const kind = node.dataset.q;
      if (kind === "pressure") node.textContent = now.pressure;
      if (kind === "temperature") node.textContent = SHORT[now.temperature];
    }
    for (const listener of listeners) listener();
  }

  function start(fuel) {
    stoich = fuel.stoich_afr;
    for (const key of Object.keys(now)) {
      const chooser = document.getElementById("unit-" + key);
      if (!chooser) continue;
      for (const option of chooser.options) if (option.value === "afr") option.textContent += ` (${fuel.name})`;
      chooser.addEventListener("change", () => {
        now[key] = chooser.value;
        rewrite();
      });
    }
  }

  /* A quantity as text with its unit. base: the lambda that a difference stands at. */
  function told(kind, value, digits, base) {
    const [number, places, unit] = converted(kind, value, digits, base);
    return number.toFixed(places) + (unit ? " " + unit : "");
  }

  return { now, start, told, ofChannel, evenTicks, ticksOf, unitName, kindOf, refresh: rewrite, changed: (listener) => listeners.push(listener) };
})();
