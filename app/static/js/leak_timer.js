/* The time between a leak check's two readings: started and stopped by the same button, written into
   the field "minutes", where it can be typed as well. */
"use strict";

(() => {
  const form = document.querySelector("form[data-leak-timer]");
  const minutes = form?.elements.minutes;
  if (!minutes) return;
  let started = null;
  let ticking = 0;

  const line = document.createElement("p");
  line.className = "row";
  const button = document.createElement("button");
  button.type = "button";
  button.className = "button button--quiet";
  button.textContent = "Start the time";
  const shown = document.createElement("span");
  shown.className = "timer";
  shown.setAttribute("role", "timer");
  shown.textContent = "0:00";
  line.append(button, shown);
  minutes.closest(".field").after(line);

  /** Seconds gone by the device's own clock, which a sleeping screen does not stop. */
  function gone() {
    return Math.floor((Date.now() - started) / 1000);
  }

  function show() {
    shown.textContent = `${Math.floor(gone() / 60)}:${String(gone() % 60).padStart(2, "0")}`;
  }

  button.addEventListener("click", () => {
    if (started === null) {
      started = Date.now();
      ticking = setInterval(show, 500);
      show();
      button.textContent = "Stop: the level is read";
      return;
    }
    clearInterval(ticking);
    show();
    /* Whole seconds, cut to a hundredth of a minute, so that the time is never made longer. */
    minutes.value = (Math.floor((gone() * 100) / 60) / 100).toFixed(2);
    started = null;
    button.textContent = "Start the time again";
  });
})();
