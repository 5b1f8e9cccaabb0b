/* A long form [data-keep-typing] is remembered in this tab while it is filled in, so that a page left
   by mistake, or a sign-in that ended meanwhile, loses nothing. What is remembered is only offered;
   it is put back when the reader asks for it. Passwords and files are never remembered. */
"use strict";

(() => {
  for (const form of document.querySelectorAll("form[data-keep-typing]")) {
    const key = `temperbook typed ${form.dataset.keepTyping}`;
    const before = sessionStorage.getItem(key);

    function fields() {
      return [...form.elements].filter(
        (each) => each.name && !["csrf", "act"].includes(each.name) &&
          !["password", "file", "submit", "button"].includes(each.type),
      );
    }

    function typed() {
      const kept = {};
      for (const each of fields()) {
        if (["checkbox", "radio"].includes(each.type)) {
          if (each.checked) kept[each.name] = each.value;
        } else if (each.value) {
          kept[each.name] = each.value;
        }
      }
      return JSON.stringify(kept);
    }

    /** Sent as the page's own button would send it, so that rows the page lacks are there again. */
    function putBack() {
      const kept = JSON.parse(before);
      for (const each of fields()) {
        if (["checkbox", "radio"].includes(each.type)) each.checked = kept[each.name] === each.value;
        else each.value = kept[each.name] ?? "";
        delete kept[each.name];
      }
      for (const [name, value] of Object.entries(kept)) {
        const hidden = document.createElement("input");
        hidden.type = "hidden";
        hidden.name = name;
        hidden.value = value;
        form.append(hidden);
      }
      const act = document.createElement("input");
      act.type = "hidden";
      act.name = "act";
      act.value = "show";
      form.append(act);
      form.submit();
    }

    const start = typed();
    if (before && before !== start && !document.querySelector("[data-problems]")) {
      const offer = document.createElement("p");
      offer.className = "row";
      const words = document.createElement("span");
      words.textContent = "Something was typed into this form in this tab before.";
      const button = document.createElement("button");
      button.type = "button";
      button.className = "button button--quiet";
      button.textContent = "Bring it back";
      button.addEventListener("click", putBack);
      offer.append(words, button);
      form.prepend(offer);
    }
    form.addEventListener("input", () => sessionStorage.setItem(key, typed()));
    form.addEventListener("submit", () => sessionStorage.setItem(key, typed()));
  }
})();
