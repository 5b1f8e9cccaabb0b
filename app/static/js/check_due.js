/* The time to the next check [data-due-seconds], counted down from what the server said when it sent
   the page, by a clock that nobody sets. The page says the time of day without this script. */
"use strict";

(() => {
  const line = document.querySelector("[data-due-seconds]");
  if (!line) return;
  const shown = line.querySelector("[data-due-left]");
  const overdue = line.querySelector("[data-due-overdue]");
  const began = performance.now();
  const seconds = Number(line.dataset.dueSeconds);

  function show() {
    const left = seconds - Math.floor((performance.now() - began) / 1000);
    if (left < 0) {
      line.classList.add("due--overdue");
      shown.textContent = "";
      /* Said once, and loudly: it stays until the check is made. */
      if (overdue.hidden) {
        overdue.hidden = false;
        overdue.setAttribute("role", "alert");
      }
      return;
    }
    const minutes = Math.floor(left / 60);
    shown.textContent = minutes > 0 ? `in ${minutes} min` : `in ${left} s`;
  }

  show();
  setInterval(show, 1000);
})();
