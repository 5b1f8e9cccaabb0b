/* The bench: one scan box [data-scan], and forms [data-readings] with number boxes [data-reading].
   A scanner is a keyboard that types fast and ends with Enter; what it types belongs to the scan box
   wherever the cursor stands. The page is complete without this script. Needs bench_sound.js. */
"use strict";

(() => {
  /* People key slower than this between two keys, scanners faster (common practice: tens of
     milliseconds is the usual dividing line; the value is ours). */
  const SCANNER_GAP_MS = 35;
  /* A key that would record waits this long, lest it be the first of a scan. */
  const BEFORE_RECORDING_MS = 60;
  const SCAN_ENDED_MS = 300;
  const SHORTEST_SCAN = 4;
  /* No reading is this long, so a fast run of digits beyond it is an identity too. */
  const LONGEST_READING = 8;
  const LOOKING_MS = 4000;

  const aids = document.querySelector("[data-bench]");
  const scan = document.querySelector("[data-scan]");
  const entry = document.querySelector("form[data-entry]");
  const codes = new Set((aids?.dataset.codes ?? "").split(/\s+/).filter(Boolean));
  const readings = [...document.querySelectorAll("[data-reading]")];
  const ticks = [...document.querySelectorAll("form[data-readings] input[type=checkbox]")];
  const steps = [...document.querySelectorAll("[data-reading], form[data-readings] input[type=checkbox]")];
  let burst = null;
  let complaint = 0;
  let recording = 0;
  let looking = false;

  /** The line of text in which a refused key or scan is explained. */
  function lineOf(form) {
    let line = form.querySelector("[data-said]");
    if (!line) {
      line = document.createElement("p");
      line.dataset.said = "";
      line.className = "bench__said";
      line.setAttribute("role", "alert");
      form.append(line);
    }
    return line;
  }

  function say(form, sentence) {
    clearTimeout(complaint);
    lineOf(form).textContent = sentence;
  }

  /** Say it after a moment, so that the letters of a scan do not flash a complaint. */
  function complain(form, sentence) {
    clearTimeout(complaint);
    complaint = setTimeout(() => {
      lineOf(form).textContent = sentence;
      bench.sound("refused");
    }, 2 * SCANNER_GAP_MS);
  }

  function beQuiet(form) {
    clearTimeout(complaint);
    const line = form.querySelector("[data-said]");
    if (line) line.textContent = "";
  }

  /* --- what is meant by the digits --- */

  function placesOf(box) {
    const step = box.closest("[data-step]")?.dataset.step ?? "";
    return step.includes(".") ? step.length - step.indexOf(".") - 1 : 0;
  }

  /** Digits without a point are meant to the last place of the tester's display; three digits of a
     temperature to the tenth, because nobody measures at 100 degrees. A point that is keyed wins. */
  function meant(box) {
    const text = box.value;
    const places = box.closest("[data-degrees]") ? (text.length === 3 ? 1 : 0) : placesOf(box);
    if (!/^\d+$/.test(text) || places === 0) return text;
    const digits = text.padStart(places + 1, "0");
    const whole = digits.slice(0, -places).replace(/^0+(?=\d)/, "");
    return `${whole}.${digits.slice(-places)}`;
  }

  function showLarge(box) {
    const large = box.form.querySelector("[data-large]");
    if (!large) return;
    const unit = box.closest("[data-degrees]") ? "°C" : large.dataset.unit;
    large.textContent = box.value ? `${meant(box)} ${unit}` : "\u00a0";
    large.hidden = false;
  }

  /** The figure in a box as it will count; whoever keeps drafts is told. */
  function accept(box) {
    if (box.value !== meant(box)) box.value = meant(box);
    box.dataset.accepted = box.value;
    showLarge(box);
    box.dispatchEvent(new CustomEvent("bench:accepted", { bubbles: true }));
  }

  /* --- scans --- */

  function unsaved() {
    return readings.some(
      (box) => box.value !== box.defaultValue ||
        (entry?.contains(box) && box.value !== "" && !box.closest("[data-degrees]")),
    );
  }

  /** The mark without what scanners put around it: control signs, a symbology identifier. */
  function markOf(keys) {
    return [...keys].filter((sign) => sign > "\u001f" && sign !== "\u007f").join("")
      .trim().replace(/^\][A-Za-z][0-9A-Za-z]/, "");
  }

  /** Whether the keys since the pause were a scanner's: long enough, and no mere reading. */
  function isScan(run) {
    if (!run || run.keys.length < SHORTEST_SCAN) return false;
    return codes.has(run.keys.toUpperCase()) || /[^0-9.,]/.test(run.keys) || run.keys.length > LONGEST_READING;
  }

  /** Note each key with its time; a pause begins a new run and remembers what the box held. */
  function noteKey(event) {
    clearTimeout(recording);
    if (event.key.length !== 1 || event.ctrlKey || event.metaKey || event.altKey) return;
    const box = event.target;
    if (!burst || burst.box !== box || event.timeStamp - burst.last > SCANNER_GAP_MS) {
      burst = { box, keys: "", before: box.value, ticked: box.checked, last: 0, ended: 0 };
    }
    clearTimeout(burst.ended);
    burst.keys += event.key;
    burst.last = event.timeStamp;
    const run = burst;
    if (isScan(run)) run.ended = setTimeout(() => burst === run && takeOut(run), SCAN_ENDED_MS);
  }

  /** Take a scan out of where it was typed, and look it up. */
  function takeOut(run) {
    clearTimeout(run.ended);
    burst = null;
    if (run.box === scan) {
      lookUp(scan.value);
      return;
    }
    if (readings.includes(run.box)) run.box.value = run.before;
    if (ticks.includes(run.box)) run.box.checked = run.ticked;
    if (run.box.form) beQuiet(run.box.form);
    lookUp(run.keys);
  }

  function refuseScan(sentence) {
    const form = entry ?? scan?.form;
    if (form) say(form, sentence);
    bench.sound("refused");
  }

  /** Go where the scanned coupon is entered, unless something keyed would be left behind. */
  async function lookUp(keys) {
    const code = markOf(keys).toUpperCase();
    if (!scan || looking || code === "") return;
    const held = bench.held?.();
    if (held && held !== code) {
      refuseScan(`${code} was not taken up: the readings of ${held} are NOT SAVED YET. They go first.`);
    } else if (entry && code === entry.dataset.entry) {
      say(entry, `${code} is the coupon that is open here. Go on keying.`);
    } else if (unsaved()) {
      const open = entry ? `of ${entry.dataset.entry} ` : "";
      refuseScan(`${code} was scanned while figures ${open}are keyed and not recorded. Nothing was changed: record them first, or put them aside.`);
    } else {
      await ask(code);
    }
  }

  async function ask(code) {
    const address = `${scan.form.action}?coupon=${encodeURIComponent(code)}`;
    looking = true;
    try {
      const answer = await fetch(address, {
        headers: { Accept: "application/json" },
        redirect: "manual",
        signal: AbortSignal.timeout(LOOKING_MS),
      });
      if (answer.status >= 500) throw new Error(`the server answered ${answer.status}`);
      const isJson = (answer.headers.get("content-type") ?? "").includes("json");
      const said = isJson ? await answer.json() : { go: address };
      if (said.go) {
        location.assign(said.go);
        return;
      }
      refuseScan(said.sentence);
    } catch {
      refuseScan(`The server does not answer: ${code} was not looked up. Scan it again.`);
    }
    looking = false;
    if (!entry) {
      scan.value = code;
      scan.focus();
      scan.select(); // a refused scan stays to be read, and the next one replaces it
    }
  }

  /* --- keys --- */

  /** To the next step of the form; after the last one the form is sent. */
  function moveOn(box) {
    const next = steps.slice(steps.indexOf(box) + 1).find((each) => each.form === box.form);
    if (next) {
      next.focus();
      if (next.select && next.type !== "checkbox") next.select();
      return;
    }
    clearTimeout(recording);
    recording = setTimeout(() => box.form.requestSubmit(), BEFORE_RECORDING_MS);
  }

  function onEnter(box) {
    if (box.type === "checkbox") {
      if (box.checked) moveOn(box);
      else complain(box.form, "Key 1 if this is so; nothing is ticked by itself.");
    } else if (entry?.contains(box) && box.value === "") {
      complain(box.form, "Nothing is keyed here. Key the figure, or press the button to record what there is.");
    } else {
      if (box.value !== "") accept(box);
      moveOn(box);
    }
  }

  /** 1 ticks, as soon as it is sure that it is not the first sign of a scan. */
  function onTickKey(box) {
    clearTimeout(recording);
    recording = setTimeout(() => {
      burst = null;
      box.checked = true;
      beQuiet(box.form);
      moveOn(box);
    }, BEFORE_RECORDING_MS);
  }

  function onKey(event) {
    const box = event.target;
    const ours = readings.includes(box) || ticks.includes(box);
    const elsewhere = !ours && box !== scan && /^(INPUT|TEXTAREA|SELECT)$/.test(box.tagName);
    if (elsewhere) return;
    if (event.key === "Enter") {
      const run = burst;
      burst = null;
      const swift = run && run.box === box && event.timeStamp - run.last <= SCANNER_GAP_MS;
      if (run) clearTimeout(run.ended);
      if (swift && isScan(run)) {
        event.preventDefault();
        takeOut(run);
      } else if (ours) {
        event.preventDefault();
        onEnter(box);
      } else if (box.matches("[data-problems]")) {
        document.querySelector("[aria-invalid=true]")?.focus();
      }
      return;
    }
    noteKey(event);
    if (event.key === "1" && ticks.includes(box) && !box.checked && burst?.keys === "1") onTickKey(box);
  }

  /** Let digits and one decimal point in; show a decimal comma as a point; explain what is refused. */
  function beforeTyping(event) {
    const text = event.data ?? event.dataTransfer?.getData("text/plain");
    if (text === undefined || text === null) return;
    const box = event.target;
    const typed = text.trim().replaceAll(",", ".");
    const kept = box.value.slice(0, box.selectionStart) + typed + box.value.slice(box.selectionEnd);
    if (typed === "" || !/^\d*\.?\d*$/.test(kept)) {
      event.preventDefault();
      complain(box.form, `“${text}” is not part of a reading: key digits and one decimal point, as the tester shows them.`);
      return;
    }
    beQuiet(box.form);
    if (typed !== text) {
      event.preventDefault();
      type(box, typed);
    }
  }

  function type(box, text) {
    box.setRangeText(text, box.selectionStart, box.selectionEnd, "end");
    box.dispatchEvent(new Event("input", { bubbles: true }));
  }

  document.addEventListener("keydown", onKey);
  for (const box of readings) {
    box.addEventListener("beforeinput", beforeTyping);
    box.addEventListener("input", () => showLarge(box));
    box.addEventListener("change", () => accept(box));
  }
  scan?.form.addEventListener("submit", (event) => {
    event.preventDefault();
    lookUp(scan.value);
  });
  bench.keys = { onEnter, onTickKey, type, readings, ticks };

  /* Where a problem was found, the cursor belongs there instead (page.js puts it there); with a coupon
     on the bench, in what is still to be read or ticked, where a scan is still seen for what it is. */
  if (!document.querySelector("[data-problems]")) {
    const first = document.querySelector("form[data-readings=first]")
      ? steps.find((box) => (box.type === "checkbox" ? !box.checked : box.value === "" || (entry && box.closest("[data-degrees]"))))
      : undefined;
    if (first) {
      first.focus();
      if (first.type !== "checkbox") first.select();
    } else if (scan) {
      scan.focus();
      scan.select();
    }
  }
})();
