/* What every page does a little better with script. Each page works without it. */
"use strict";

(() => {
  /* A form that posts is sent once: a second press while the first is on its way does nothing. The
     button is only marked, never disabled, because a disabled button's value would not be sent. */
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (event.defaultPrevented || form.method !== "post") return;
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = "yes";
    for (const button of form.querySelectorAll("button[type=submit]")) {
      button.setAttribute("aria-disabled", "true");
    }
  });

  /* Coming back by the browser's own button finds the form ready to be sent again. */
  window.addEventListener("pageshow", (event) => {
    if (!event.persisted) return;
    for (const form of document.querySelectorAll("form[data-sent]")) {
      delete form.dataset.sent;
      for (const button of form.querySelectorAll("button[aria-disabled]")) {
        button.removeAttribute("aria-disabled");
      }
    }
  });

  /* Paper shows the working unfolded; the screen is left as it was. */
  let unfolded = [];
  window.addEventListener("beforeprint", () => {
    unfolded = [...document.querySelectorAll("details:not([open])")];
    for (const part of unfolded) part.open = true;
  });
  window.addEventListener("afterprint", () => {
    for (const part of unfolded) part.open = false;
    unfolded = [];
  });

  /* F9 goes to the form that puts on hold what the page is about. A key that types nothing, so that
     neither a scanner nor a word being written sets it off. */
  document.addEventListener("keydown", (event) => {
    if (event.key !== "F9" || event.ctrlKey || event.altKey || event.metaKey || event.shiftKey) return;
    const way = document.querySelector("a[data-hold]");
    if (!way) return;
    event.preventDefault();
    way.click();
  });

  /* After a refusal the reader starts at what stands in the way. */
  document.querySelector("[data-problems]")?.focus();
})();
