"use strict";
/* The keys of the traces, on the report and on the local page. */
const keys = (() => {
  const KEYS = {
    ArrowLeft: (event) => traces.step(event.shiftKey ? -20 : -1),
    ArrowRight: (event) => traces.step(event.shiftKey ? 20 : 1),
    "+": () => traces.zoom(0.5),
    "=": () => traces.zoom(0.5),
    "-": () => traces.zoom(2),
    0: () => traces.everything(),
    PageDown: () => traces.along(0.5),
    PageUp: () => traces.along(-0.5),
  };

  function listen(panels) {
    panels.addEventListener("keydown", (event) => {
      const action = KEYS[event.key];
      if (!action || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault();
      action(event);
    });
  }

  return { listen };
})();
