/* Large keys [data-pad] for gloves: the same as the keyboard's, in the box the cursor was last in.
   The switch [data-switch=pad] is this browser's. Needs bench.js. */
"use strict";

(() => {
  const KEPT = "temperbook bench pad";
  const pad = document.querySelector("[data-pad]");
  const button = document.querySelector("[data-switch=pad]");
  const tools = document.querySelector("[data-tools]");
  const { onEnter, onTickKey, type, readings, ticks } = bench.keys;
  let box = null;

  function isOn() {
    return localStorage.getItem(KEPT) === "on";
  }

  function show() {
    if (tools) tools.hidden = false;
    if (button) {
      button.hidden = !pad;
      button.textContent = isOn() ? "Hide number pad" : "Show number pad";
    }
    if (!pad) return;
    pad.hidden = !isOn();
    // The device's own keyboard would cover half the page.
    for (const each of readings) each.inputMode = isOn() ? "none" : "decimal";
  }

  function erase() {
    const to = box.selectionEnd;
    const from = box.selectionStart === to ? Math.max(0, to - 1) : box.selectionStart;
    box.setRangeText("", from, to, "end");
    box.dispatchEvent(new Event("input", { bubbles: true }));
  }

  function press(key) {
    if (!box) return;
    if (key === "Enter") onEnter(box);
    else if (box.type === "checkbox") key === "1" && onTickKey(box);
    else if (key === "back") erase();
    else if (key !== "." || !box.value.includes(".")) type(box, key);
  }

  document.addEventListener("focusin", (event) => {
    if (readings.includes(event.target) || ticks.includes(event.target)) box = event.target;
  });
  if (readings.includes(document.activeElement) || ticks.includes(document.activeElement)) {
    box = document.activeElement;
  }
  pad?.addEventListener("pointerdown", (event) => {
    if (event.target.closest("[data-key]")) event.preventDefault(); // the cursor stays in its box
  });
  pad?.addEventListener("click", (event) => {
    const pressed = event.target.closest("[data-key]");
    if (!pressed) return;
    box?.focus();
    press(pressed.dataset.key);
  });
  button?.addEventListener("click", () => {
    localStorage.setItem(KEPT, isOn() ? "off" : "on");
    show();
    box?.focus();
  });
  show();
})();
