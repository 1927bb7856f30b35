"use strict";
/* Controls of the traces: buttons, choosers, colours, size. The keys are in keys_of_report_and_view.js. */
const controls = (() => {
  const at = (id) => document.getElementById(id);
  /* colours: gives those of the moment; light: those of paper. */
  function listen({ colours, light }) {
    keys.listen(at("panels"));
    at("narrower").addEventListener("click", () => traces.zoom(0.5));
    at("wider").addEventListener("click", () => traces.zoom(2));
    at("earlier").addEventListener("click", () => traces.along(-0.5));
    at("later").addEventListener("click", () => traces.along(0.5));
    at("height").addEventListener("change", () => traces.setNear(at("height").value === "near"));
    beside.listen(at("panels"));
    at("axis").addEventListener("change", () => traces.setMode(at("axis").value));
    at("window").addEventListener("change", () => traces.setPull(at("window").value ? Number(at("window").value) : null));
    let width = at("panels").clientWidth;
    new ResizeObserver(() => {
      if (printing || at("panels").clientWidth === width) return;
      width = at("panels").clientWidth;
      traces.resize();
    }).observe(at("panels"));
    const dark = matchMedia("(prefers-color-scheme: dark)");
    dark.addEventListener("change", () => traces.recolour(colours()));
    let printing = false;
    window.addEventListener("beforeprint", () => {
      printing = true;
      traces.recolour(light);
      traces.onPaper(true);
    });
    window.addEventListener("afterprint", () => {
      printing = false;
      traces.recolour(colours());
      traces.onPaper(false);
    });
    units.changed(traces.restated);
  }

  return { listen };
})();
