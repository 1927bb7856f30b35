"use strict";
/* The local page: which drive is shown, what lies over it, remarks, export, and files that are dropped on it. */
(() => {
  const known = JSON.parse(document.getElementById("known").textContent);
  const at = (id) => document.getElementById(id);
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const colours = () => (dark.matches ? known.colours.dark : known.colours.light);
  const GROWN_MS = 500;
  let drives = [];
  let here = null;
  let growing = 0;
  let remarked = 0;
  const MOST_LAID = 4;
  let laid = [];

  const spansHere = () => drives[here.drive].spans.filter((one) => one.session === here.id);
  const pullsOf = (spans) => spans.filter((one) => one.kind === "pull");

  /* What there is: what changes is asked for each time, what is known of a drive only when that has grown. */
  async function state() {
    const before = remarked;
    const now = (await (await fetch("/state")).json()).drives;
    const fresh = await Promise.all(
      now.map(async (one, n) => {
        const known = drives[n] && drives[n].version === one.version ? drives[n] : await (await fetch(`/known?drive=${n}`)).json();
        for (const session of known.sessions) session.read = one.read[session.id];
        return { ...known, ...one };
      }),
    );
    if (remarked !== before) return state(); // a remark was kept meanwhile, which these may lack
    drives = fresh;
  }

  function filled(select, options) {
    const known = JSON.stringify(options);
    if (select.dataset.known === known) return; // it may be open just now
    select.dataset.known = known;
    const before = select.value;
    select.replaceChildren(...options.map(([value, words]) => new Option(words, value)));
    if (options.some(([value]) => value === before)) select.value = before;
  }

  /* A drive's name, told from others of the same. */
  function named(n) {
    const same = drives.filter((one) => one.name === drives[n].name);
    return same.length < 2 ? drives[n].name : `${drives[n].name} (${1 + same.indexOf(drives[n])})`;
  }

  function listed() {
    const sessions = (one, n) => one.sessions.map((s) => [`${n}/${s.id}`, named(n) + (one.sessions.length > 1 ? `, session ${s.id}` : "")]);
    filled(at("drive"), drives.flatMap(sessions));
    const pulls = pullsOf(spansHere());
    filled(at("window"), [["", "everything"], ...pulls.map((one) => [String(one.number), "pull " + one.number])]);
    const others = drives.flatMap((one, n) =>
      pullsOf(one.spans).map((span) => [`${n}/${span.session}/${span.number}`, `${named(n)}, pull ${span.number}`]),
    );
    filled(at("over"), [["", "choose a pull"], ...others]);
    const read = drives[here.drive].sessions.find((one) => one.id === here.id);
    const fault = drives[here.drive].fault;
    at("reading").textContent = fault || (read.read >= read.rows ? drives[here.drive].verdict : `reading: ${Math.floor((100 * read.read) / Math.max(read.rows, 1))} %; the rest is a few blocks of many until then, close windows are whole`);
    at("whole").hidden = !drives[here.drive].report;
    at("whole").href = `/report?drive=${here.drive}`;
    remarks(drives[here.drive].remarks);
    events();
  }

  /* The lean events of this session, each with its sentence and a way to it. */
  function events() {
    const lean = spansHere().filter((one) => one.kind === "lean");
    at("events").replaceChildren(
      ...lean.map((one) => {
        const item = document.createElement("li");
        const go = document.createElement("button");
        go.type = "button";
        go.textContent = `▲${one.number} pull ${one.pull}`;
        go.addEventListener("click", () => {
          at("window").value = String(one.pull);
          traces.setPull(one.pull);
          traces.centre((one.start_s + one.end_s) / 2, false);
        });
        item.append(go, " " + one.words);
        return item;
      }),
    );
    at("events-title").hidden = !lean.length;
  }

  /* kept: state of the traces to go on with. */
  async function show(drive, id, kept = null) {
    const session = drives[drive].sessions.find((one) => one.id === id);
    const mine = (here = remote.opened(drive, session));
    here.read = session.read;
    const shown = await here.ask(...session.range_s, at("panels").clientWidth);
    if (here !== mine) return; // another was chosen meanwhile
    at("axis").querySelector('[value="speed"]').disabled = !session.columns.some((one) => one.role === "speed");
    if (!kept) {
      at("axis").value = "time";
      at("window").value = "";
      traces.state.mode = "time";
      laid = [];
      at("laid").replaceChildren();
    }
    traces.build(here, spansHere(), colours(), shown, kept);
    listed();
    if (kept && traces.state.pull !== null) at("window").value = String(traces.state.pull);
    if (kept && laid.length) await lay();
    else if (kept) await traces.setMode(traces.state.mode, true);
    at("panels").dataset.ready = `${drive}/${id}`;
    again();
  }

  /* While drives are being read: show more of it, keeping the window that is looked at. */
  async function grown() {
    const { drive, id } = here;
    await state();
    if (here.drive !== drive || here.id !== id) return again();
    const session = drives[drive].sessions.find((one) => one.id === id);
    if (session.columns.length !== here.columns.length) return show(drive, id, { ...traces.state });
    if (session.read !== here.read) await traces.reload();
    here.read = session.read;
    traces.setSpans(spansHere());
    listed();
    again();
  }

  function again() {
    clearTimeout(growing);
    if (drives.some((one) => !one.done)) growing = setTimeout(grown, GROWN_MS);
  }

  function remarks(all) {
    const mine = all.filter((one) => one.session === here.id);
    at("remarks").replaceChildren(
      ...mine.map((one) => {
        const item = document.createElement("li");
        const go = document.createElement("button");
        go.type = "button";
        go.textContent = `${one.time_s.toFixed(2)} s`;
        go.addEventListener("click", () => traces.centre(one.time_s));
        item.append(go, ` ${one.pull ? `pull ${one.pull}: ` : ""}${one.text}`);
        return item;
      }),
    );
  }

  async function keep(event) {
    event.preventDefault();
    if (traces.state.index < 0) {
      at("told").textContent = "Put the cursor on a time first.";
      return;
    }
    const body = JSON.stringify({ drive: here.drive, session: here.id, time_s: traces.state.time, text: at("remark").value });
    const answer = await fetch("/remark", { method: "POST", body });
    at("told").textContent = answer.ok ? "" : await answer.text();
    if (!answer.ok) return;
    remarked += 1;
    at("remark").value = "";
    drives[here.drive].remarks = (await answer.json()).remarks;
    remarks(drives[here.drive].remarks);
  }

  async function dropped(event) {
    event.preventDefault();
    for (const file of event.dataTransfer ? event.dataTransfer.files : at("file").files) {
      at("told").textContent = `taking in ${file.name}`;
      const answer = await fetch(`/drop?name=${encodeURIComponent(file.name)}`, { method: "POST", body: file });
      if (!answer.ok) {
        at("told").textContent = await answer.text();
        continue;
      }
      const { drive } = await answer.json();
      at("told").textContent = "";
      await state();
      await show(drive, drives[drive].sessions[0].id);
    }
  }

  /* Lay the chosen pull over the drive; it stays until its button is pressed. */
  function over() {
    const value = at("over").value;
    at("over").value = "";
    if (!value || laid.includes(value) || laid.length >= MOST_LAID) return;
    laid.push(value);
    lay();
  }

  function lay() {
    const list = laid.map((value) => {
      const [drive, id, number] = value.split("/").map(Number);
      const span = pullsOf(drives[drive].spans).find((one) => one.session === id && one.number === number);
      return { session: remote.opened(drive, drives[drive].sessions.find((one) => one.id === id)), span, name: `${named(drive)}, pull ${number}`, short: drive === here.drive ? `pull ${number}` : `drive ${drive + 1}, pull ${number}` };
    });
    at("laid").replaceChildren(
      ...list.map(({ name }, nth) => {
        const { colour, dash } = looks.over(nth, colours());
        const item = document.createElement("li");
        const line = document.createElementNS("http://www.w3.org/2000/svg", "svg");
        line.setAttribute("viewBox", "0 0 28 10");
        line.innerHTML = `<path d="M0 5H28" style="stroke:${colour}" stroke-dasharray="${dash.join(" ")}"/>`;
        const words = `${name}, ${["square", "cross", "triangle", "bar"][looks.over(nth, colours()).shape]} against speed`;
        const away = document.createElement("button");
        away.type = "button";
        away.textContent = "take away";
        away.setAttribute("aria-label", `take away ${name}`);
        away.addEventListener("click", () => {
          laid.splice(nth, 1);
          lay();
        });
        item.append(line, ` ${words} `, away);
        return item;
      }),
    );
    const mine = pullsOf(spansHere()).find((one) => one.number === traces.state.pull) || pullsOf(spansHere())[0];
    return traces.setOvers(list, mine ? mine.start_s : traces.state.start);
  }

  controls.listen({ colours, light: known.colours.light });
  units.start(known.fuel);
  at("drive").addEventListener("change", () => show(...at("drive").value.split("/").map(Number)));
  at("over").addEventListener("change", over);
  at("window").addEventListener("change", () => laid.length && lay());
  at("export").addEventListener("click", () => {
    const { spans, column, low, high } = traces.seen();
    const times = spans.map((one) => `${one.start_s}:${one.end_s}`).join(",");
    const only = column < 0 ? "" : `&column=${column}&low=${low}&high=${high}`;
    location.href = `/export?drive=${here.drive}&session=${here.id}&spans=${times}${only}`;
  });
  at("keep").addEventListener("submit", keep);
  at("file").addEventListener("change", dropped);
  document.addEventListener("dragover", (event) => event.preventDefault());
  document.addEventListener("drop", dropped);
  state().then(() => show(0, drives[0].sessions[0].id));
})();
