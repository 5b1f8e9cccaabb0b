/* What is keyed for a coupon reaches the server, or is said to be NOT SAVED YET.
   Every accepted figure goes to the server as a draft. Recording is sent with the form's own name
   again and again until the server says that it is recorded. Until then this browser keeps the one
   coupon, so that a reload or a crash loses nothing, and takes up no other. Needs bench.js. */
"use strict";

(() => {
  const KEPT = "temperbook bench unsent";
  const SLOW_MS = 1200;
  const PATIENCE_MS = 8000;
  const AGAIN_MS = 1500;

  const aids = document.querySelector("[data-bench]");
  const form = document.querySelector("form[data-entry]");
  if (!aids) return;
  const banner = aids.querySelector("[data-unsent]");
  const link = banner.querySelector("[data-unsent-link]");
  const drop = banner.querySelector("[data-unsent-drop]");
  let drafting = false;
  let draftAgain = false;
  let recording = false;
  let showAnew = false;
  let keptLast = "";

  /* --- the one coupon kept in this browser --- */

  function held() {
    try {
      return JSON.parse(localStorage.getItem(KEPT));
    } catch {
      return null;
    }
  }

  function hold(unsent) {
    localStorage.setItem(KEPT, JSON.stringify(unsent));
  }

  function letGo() {
    localStorage.removeItem(KEPT);
    banner.hidden = true;
  }

  /** The coupon that must go first; none while a draft is merely on its way. */
  bench.held = () => (banner.hidden && !recording ? null : held()?.coupon ?? null);

  /** The form as it stands; ``accepted``: without a figure that is still being keyed. */
  function keyed(accepted = false) {
    const fields = Object.fromEntries(new FormData(form));
    delete fields.csrf;
    const box = document.activeElement;
    if (accepted && box?.matches("[data-reading]") && box.value !== box.defaultValue &&
        box.value !== box.dataset.accepted) {
      delete fields[box.name];
    }
    return {
      person: aids.dataset.person,
      session: aids.dataset.session,
      coupon: form.dataset.entry,
      fields,
      pressed: false,
    };
  }

  /* --- the banner --- */

  function notYet(unsent, why, { words = "", href = "", dropped = false } = {}) {
    const first = banner.hidden;
    banner.hidden = false;
    banner.querySelector("[data-unsent-words]").textContent = `${unsent.coupon} is NOT SAVED YET`;
    banner.querySelector("[data-unsent-why]").textContent = why;
    link.hidden = !href;
    link.textContent = words;
    if (href) link.href = href;
    drop.hidden = !dropped;
    if (first) bench.sound("unsaved");
  }

  function here(unsent) {
    return `/bench/sessions/${unsent.session}?coupon=${encodeURIComponent(unsent.coupon)}`;
  }

  /* --- the server --- */

  /** What came of it: {recorded}, {refused}, {signedOut}, {stale}; an error where nobody answered. */
  async function post(act, unsent) {
    const answer = await fetch(`/bench/sessions/${unsent.session}/${act}`, {
      method: "POST",
      headers: { Accept: "application/json" },
      body: new URLSearchParams({ ...unsent.fields, csrf: aids.dataset.csrf }),
      redirect: "manual",
      signal: AbortSignal.timeout(PATIENCE_MS),
    });
    if (answer.type === "opaqueredirect") return { signedOut: true };
    if (answer.status >= 500) throw new Error(`the server answered ${answer.status}`);
    const isJson = (answer.headers.get("content-type") ?? "").includes("json");
    if (!isJson) return { stale: true };
    const said = await answer.json();
    return answer.ok ? { recorded: said } : { refused: said };
  }

  const pause = (ms) => new Promise((done) => setTimeout(done, ms));

  /** Both need the page anew; what is kept comes back on it. True where one of them was so. */
  function needsPage(unsent, answer) {
    if (answer.signedOut) {
      notYet(unsent, "You are signed out, or the page was left so long that it is locked. What you keyed is kept in this browser and comes back.", {
        words: "Sign in and go on", href: `/sign-in?next=${encodeURIComponent(here(unsent))}`,
      });
    } else if (answer.stale) {
      notYet(unsent, "This page is from before you signed in, or the server has changed. What you keyed is kept in this browser.", {
        words: "Load it again", href: here(unsent),
      });
    }
    return Boolean(answer.signedOut || answer.stale);
  }

  /* --- drafts --- */

  function put(name, sentence, kind) {
    const box = form.elements[name];
    if (!box?.closest) return;
    const field = box.closest(".field");
    let line = field.querySelector("[data-draft-said]");
    if (!line) {
      line = document.createElement("span");
      line.dataset.draftSaid = "";
      line.className = "field__problem";
      line.setAttribute("role", "status");
      field.append(line);
    }
    const isNew = sentence && line.textContent !== sentence;
    line.textContent = sentence ?? "";
    line.hidden = !sentence;
    box.setAttribute("aria-invalid", String(kind === "wrong"));
    if (isNew && kind === "wrong") bench.sound("refused");
  }

  /** What the server says of the figures so far, beside each. */
  function showSaid(said) {
    for (const box of form.querySelectorAll("[data-reading]")) {
      const wrong = said.wrong[box.name];
      put(box.name, wrong ?? said.odd[box.name], wrong ? "wrong" : "odd");
    }
    for (const line of form.querySelectorAll("[data-number]")) {
      const number = said.numbers[line.dataset.number];
      line.textContent = number ? `${number} ${line.dataset.unit}` : "";
    }
    const room = form.querySelector("[data-room]");
    if (room && said.room) room.textContent = said.room;
  }

  async function keep() {
    if (recording) return;
    const unsent = keyed(true);
    if (JSON.stringify(unsent.fields) === keptLast) return;
    if (drafting) {
      draftAgain = true;
      hold(unsent);
      return;
    }
    drafting = true;
    const slow = setTimeout(() => hold(unsent), SLOW_MS);
    try {
      const answer = await post("draft", unsent);
      clearTimeout(slow);
      if (recording) return;
      if (needsPage(unsent, answer)) hold(unsent);
      else if (answer.recorded) {
        keptLast = JSON.stringify(unsent.fields);
        if (!draftAgain) letGo();
        if (showAnew) location.assign(here(unsent));
        else showSaid(answer.recorded);
      }
    } catch {
      clearTimeout(slow);
      if (recording) return;
      hold(unsent);
      notYet(unsent, "The server does not answer. What you keyed is kept in this browser; go on, it is sent as soon as the server answers.");
      draftAgain = true;
      await pause(AGAIN_MS);
    } finally {
      drafting = false;
    }
    if (draftAgain) {
      draftAgain = false;
      keep();
    }
  }

  /* --- recording --- */

  async function record(unsent) {
    recording = true;
    unsent.pressed = true;
    hold(unsent);
    const waits = "The server has not confirmed it. It is sent again until it does; keep this page open. What you keyed is kept in this browser.";
    let slow = setTimeout(() => notYet(unsent, waits), SLOW_MS);
    for (;;) {
      let answer;
      try {
        answer = await post("readings", unsent);
      } catch {
        clearTimeout(slow);
        notYet(unsent, waits);
        await pause(AGAIN_MS);
        continue;
      }
      clearTimeout(slow);
      if (answer.recorded) {
        letGo();
        await bench.sound(answer.recorded.heard);
        location.assign(answer.recorded.go);
        return;
      }
      recording = false;
      unsent.pressed = false;
      hold(unsent);
      if (!needsPage(unsent, answer)) refused(unsent, answer.refused);
      return;
    }
  }

  /** Nothing was recorded. The page that says so beside each field is the server's own. */
  function refused(unsent, said) {
    if (form?.dataset.entry === unsent.coupon && aids.dataset.session === unsent.session) {
      HTMLFormElement.prototype.submit.call(form);
      return;
    }
    notYet(unsent, said.sentence, { words: `Go on with ${unsent.coupon}`, href: here(unsent), dropped: true });
  }

  /* --- what a page begins with --- */

  /** Put back what this browser keeps. A field that the page lacks waits unseen until the server,
      which has its draft then, shows the page with it. */
  function bringBack(unsent) {
    for (const [name, text] of Object.entries(unsent.fields)) {
      if (["coupon", "seen", "confirmed", "spacing_confirmed"].includes(name)) continue;
      let box = form.elements[name];
      if (!box) {
        box = document.createElement("input");
        box.type = "hidden";
        box.name = name;
        form.append(box);
        showAnew = true;
      }
      box.value = text;
      box.dataset.accepted = text;
    }
    notYet(unsent, "Here is what this browser kept. It is not recorded: look it over and go on.");
  }

  function begin() {
    const unsent = held();
    if (!unsent) return;
    const isHere = form?.dataset.entry === unsent.coupon && aids.dataset.session === unsent.session;
    if (unsent.person !== aids.dataset.person) {
      notYet(unsent, `${unsent.person} keyed readings that are not recorded. They are kept in this browser until ${unsent.person} signs in here and sends them.`, { dropped: true });
    } else if (isHere && document.querySelector("[data-problems]")) {
      keep(); // the server has just said what is wrong; its page has what was typed
    } else if (unsent.pressed) {
      if (isHere) bringBack(unsent);
      record(unsent);
    } else if (isHere) {
      bringBack(unsent);
      keep();
    } else {
      notYet(unsent, "What you keyed for it is kept in this browser. It goes first.", {
        words: `Go on with ${unsent.coupon}`, href: here(unsent), dropped: true,
      });
    }
  }

  drop.addEventListener("click", letGo);
  if (form) {
    form.addEventListener("bench:accepted", keep);
    form.addEventListener("submit", (event) => {
      if (event.submitter?.name === "more") return;
      event.preventDefault();
      if (recording) return;
      const unsent = held();
      if (unsent && unsent.coupon !== form.dataset.entry) {
        notYet(unsent, "It goes first; then come back to this coupon.", {
          words: `Go on with ${unsent.coupon}`, href: here(unsent), dropped: true,
        });
        return;
      }
      record(keyed());
    });
  }
  begin();
})();
