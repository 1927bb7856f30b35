"use strict";
/* The values at the cursor in a box beside the pointer, which stays in the window whatever panel is looked at. */
const beside = (() => {
  const APART = 16; // px from the pointer
  const box = document.createElement("div");
  box.id = "beside";
  box.setAttribute("aria-hidden", "true"); // the line under the traces says it to those who do not see it
  document.body.append(box);
  let pointer = null;

  /* title: time and spans; rows: [[label, values...]]; anchor: {x, y} in the window, for the keys. */
  function show(title, rows, anchor) {
    const head = document.createElement("div");
    head.textContent = title;
    const table = document.createElement("table");
    for (const [label, ...values] of rows) {
      const row = table.insertRow();
      for (const words of [label, ...values]) row.insertCell().textContent = words;
    }
    box.replaceChildren(head, table);
    box.style.display = "block";
    const { x, y } = pointer || anchor;
    const { offsetWidth: width, offsetHeight: height } = box;
    const right = x + APART + width <= window.innerWidth;
    box.style.left = `${Math.max(4, right ? x + APART : x - APART - width)}px`;
    box.style.top = `${Math.max(4, Math.min(y + APART, window.innerHeight - height - 4))}px`;
  }

  const hide = () => (box.style.display = "none");

  /* panels: the element over which the pointer counts. */
  function listen(panels) {
    panels.addEventListener("pointermove", ({ clientX: x, clientY: y }) => (pointer = { x, y }), { capture: true });
    panels.addEventListener("pointerleave", () => {
      pointer = null;
      hide();
    });
    panels.addEventListener("keydown", () => (pointer = null), { capture: true });
    panels.addEventListener("blur", hide);
    window.addEventListener("scroll", () => pointer === null && hide(), { passive: true });
  }

  return { show, hide, listen };
})();
