/* The bench: one scan box [data-scan], and forms [data-readings] with number boxes [data-reading].
   A scanner is a keyboard that types fast and ends with Enter; what it types belongs to the scan box
   wherever the cursor stands. The page is complete without this script. */
"use strict";

(() => {
  /* People key slower than this between two keys, scanners faster (common practice: tens of
     milliseconds is the usual dividing line; the value is ours). */
  const SCANNER_GAP_MS = 45;
  const SHORTEST_SCAN = 4;
  /* No reading is this long, so a fast run of digits beyond it is an identity too. */
  const LONGEST_READING = 8;

  const scan = document.querySelector("[data-scan]");
  const readings = [...document.querySelectorAll("[data-reading]")];
  const ticks = [...document.querySelectorAll("form[data-readings] input[type=checkbox]")];
  let burst = null;
  let complaint = 0;

  /** The line of text under a form's boxes in which a refused key is explained. */
  function lineOf(form) {
    let line = form.querySelector("[data-said]");
    if (!line) {
      line = document.createElement("p");
      line.dataset.said = "";
      line.className = "bench__said";
      line.setAttribute("role", "status");
      form.append(line);
    }
    return line;
  }

  /** Say it after a moment, so that the letters of a scan do not flash a complaint. */
  function complain(box, sentence) {
    clearTimeout(complaint);
    complaint = setTimeout(() => {
      lineOf(box.form).textContent = sentence;
    }, 2 * SCANNER_GAP_MS);
  }

  function beQuiet(box) {
    clearTimeout(complaint);
    const line = box.form.querySelector("[data-said]");
    if (line) line.textContent = "";
  }

  /** Whether the keys since the pause were a scanner's: long enough, and no mere reading. */
  function isScan(run) {
    if (!run || run.keys.length < SHORTEST_SCAN) return false;
    return /[^0-9.,]/.test(run.keys) || run.keys.length > LONGEST_READING;
  }

  /** Note each key with its time; a pause begins a new run and remembers what the box held. */
  function noteKey(event) {
    if (event.key.length !== 1 || event.ctrlKey || event.metaKey || event.altKey) return;
    const box = event.target;
    if (!burst || burst.box !== box || event.timeStamp - burst.last > SCANNER_GAP_MS) {
      burst = { box, keys: "", before: box.value, last: 0 };
    }
    burst.keys += event.key;
    burst.last = event.timeStamp;
  }

  /** Give the scanned text to the scan box; look it up unless typed readings would be lost. */
  function handOver(run) {
    run.box.value = run.before;
    beQuiet(run.box);
    if (!scan) return;
    scan.value = run.keys;
    scan.focus();
    if (readings.some((box) => box.value !== box.defaultValue)) {
      lineOf(run.box.form).textContent =
        `${run.keys} was scanned while readings were typed but not recorded. Record them first, or press Enter in the scan box to leave them.`;
      return;
    }
    scan.form.requestSubmit();
  }

  /** Enter moves to the next reading, ticking a tick on its way; in the last it sends the form. */
  function moveOn(box) {
    if (box.type === "checkbox") box.checked = true;
    const next = [...box.form.querySelectorAll("[data-reading]")].find(
      (each) => box.compareDocumentPosition(each) & Node.DOCUMENT_POSITION_FOLLOWING,
    );
    if (next) {
      next.focus();
      next.select();
    } else {
      box.form.requestSubmit();
    }
  }

  function onKey(event) {
    if (event.key !== "Enter") {
      noteKey(event);
      return;
    }
    event.preventDefault();
    const run = burst;
    burst = null;
    const swift = run && run.box === event.target && event.timeStamp - run.last <= SCANNER_GAP_MS;
    if (swift && isScan(run)) handOver(run);
    else moveOn(event.target);
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
      complain(box, `“${text}” is not part of a reading: key digits and one decimal point, as the tester shows them.`);
      return;
    }
    beQuiet(box);
    if (typed !== text) {
      event.preventDefault();
      box.setRangeText(typed, box.selectionStart, box.selectionEnd, "end");
      box.dispatchEvent(new Event("input", { bubbles: true }));
    }
  }

  for (const box of [...readings, ...ticks]) box.addEventListener("keydown", onKey);
  for (const box of readings) box.addEventListener("beforeinput", beforeTyping);
  /* Where a problem was found, the cursor belongs there instead (page.js puts it there); with a coupon
     on the bench, in what is still to be ticked or read, where a scan is still seen for what it is. */
  if (!document.querySelector("[data-problems]")) {
    const empty = document.querySelector("form[data-readings=first]")
      ? [...ticks, ...readings].find((box) => (box.type === "checkbox" ? !box.checked : box.value === ""))
      : undefined;
    if (empty) {
      empty.focus();
    } else if (scan) {
      scan.focus();
      scan.select(); // a refused scan stays to be read, and the next one replaces it
    }
  }
})();
