"use strict";
/* What happens when the page is opened, and what its controls do. */
(() => {
  const known = JSON.parse(document.getElementById("known").textContent);
  const at = (id) => document.getElementById(id);
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const colours = () => (dark.matches ? known.colours.dark : known.colours.light);
  const loaded = new Map();

  async function choose(id) {
    const session = known.sessions.find((one) => one.id === id);
    if (!loaded.has(id)) loaded.set(id, await samples.load(session));
    at("axis").querySelector('[value="speed"]').disabled = !session.columns.some((one) => one.role === "speed");
    at("axis").value = "time";
    traces.state.mode = "time";
    traces.build(session, known.spans, colours());
    const chooser = at("window");
    chooser.length = 1;
    for (const span of known.spans) {
      if (span.kind === "pull" && span.session === id) chooser.add(new Option("pull " + span.number, String(span.number)));
    }
    at("panels").dataset.ready = String(id);
  }

  async function goTo(number) {
    const span = known.spans.find((one) => one.kind === "pull" && one.number === number);
    if (!span) return;
    if (traces.state.session.id !== span.session) {
      at("session").value = String(span.session);
      await choose(span.session);
    }
    at("window").value = String(number);
    traces.setPull(number);
    at("traces").scrollIntoView();
    at("panels").focus({ preventScroll: true });
  }


  /* The fuel map: one stop for the tab key, arrows from cell to cell. */
  function listenToMap() {
    const table = document.querySelector("table.map");
    if (!table) return;
    let shown = null;
    const words = ({ dataset, ariaLabel }) =>
      dataset.load ? `${dataset.rpm} rpm, ${units.told(dataset.q, Number(dataset.load), 0)}: ${dataset.told}` : ariaLabel;
    const tell = (cell) => {
      shown = cell;
      at("map-cell").textContent = words(cell);
    };
    units.changed(() => {
      for (const cell of table.querySelectorAll(".cell")) cell.ariaLabel = words(cell);
      if (shown) tell(shown);
    });
    const grid = [...table.tBodies[0].rows].map((row) => [...row.cells].map((cell) => cell.querySelector(".cell")));
    const go = (cell) => {
      table.querySelector('.cell[tabindex="0"]').tabIndex = -1;
      cell.tabIndex = 0;
      cell.focus();
    };
    const MOVES = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] };
    for (const event of ["focusin", "click", "pointerover"]) {
      table.addEventListener(event, ({ target }) => target.closest(".cell") && tell(target.closest(".cell")));
    }
    table.addEventListener("keydown", (event) => {
      if (!MOVES[event.key]) return;
      event.preventDefault();
      let row = grid.findIndex((cells) => cells.includes(event.target));
      let column = grid[row].indexOf(event.target);
      const [down, right] = MOVES[event.key];
      do {
        row += down;
        column += right;
      } while (grid[row] && column in grid[row] && !grid[row][column]);
      if (grid[row] && grid[row][column]) go(grid[row][column]);
    });
  }

  /* The picture of the first screen: ticks at round numbers of the chosen units, and the pull whose uncertainty is shown. */
  function listenToCurve() {
    units.changed(() => {
      for (const group of document.querySelectorAll("#curve .ticks[data-q]")) {
        const { q, low, high, most, top, bottom, left, edge } = group.dataset;
        const [least, greatest, upper, lower] = [low, high, top, bottom].map(Number);
        group.innerHTML = units.evenTicks(q, least, greatest, Number(most)).map(([value, words]) => {
          const y = lower + ((value - least) / (greatest - least)) * (upper - lower);
          return `<path class="grid" d="M${left} ${y.toFixed(1)}H${edge}"/><text x="${left - 6}" y="${(y + 4).toFixed(1)}" text-anchor="end">${words}</text>`;
        }).join("");
      }
    });
    const chooser = at("of-pull");
    if (!chooser) return;
    chooser.addEventListener("change", () => {
      for (const one of document.querySelectorAll("#curve .of-pull, #curve .pull-line")) {
        one.classList.toggle("chosen", one.classList.contains(`pull-${chooser.value}`));
      }
      const band = document.querySelector(`#curve .of-pull.pull-${chooser.value}`);
      at("of-pull-key").style.fill = band.style.fill;
    });
  }

  function listen() {
    listenToCurve();
    controls.listen({ colours, light: known.colours.light });
    if (at("session")) at("session").addEventListener("change", () => choose(Number(at("session").value)));
    for (const button of document.querySelectorAll("button.go")) {
      button.addEventListener("click", () => goTo(Number(button.dataset.pull)));
    }
    for (const link of document.querySelectorAll("a[href^='#pull-']")) {
      link.addEventListener("click", () => {
        const hidden = document.querySelector(link.getAttribute("href"))?.closest("details");
        if (hidden) hidden.open = true;
      });
    }
    listenToMap();
  }

  units.start(known.fuel);
  listen();
  // the words are painted first, then the samples are unpacked
  requestAnimationFrame(() => setTimeout(() => known.sessions.length && choose(known.sessions[0].id), 0));
})();
