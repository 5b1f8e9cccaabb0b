/* A growing record, followed. The server is asked every few seconds for the part of the page that
   changes and for the rows not drawn yet; by their numbers none is left out and none comes twice.
   When no answer comes the page says so, loudly, and goes on trying. */
"use strict";

(() => {
  const FIRST_RETRY_MS = 1000;
  const LONGEST_RETRY_MS = 30_000;
  const PATIENCE_MS = 10_000;
  const LATE_MS = 15_000;

  const box = document.querySelector("[data-live][data-growing]");
  if (!box) return;
  const EVERY_MS = Number(box.dataset.every);
  const [part, lost, loud, quiet, heartbeat] = ["part", "lost", "loud", "quiet", "heartbeat"].map(
    (name) => box.querySelector(`[data-${name}]`));
  const title = document.title;
  /** The moment that the page shows, in the shop's own zone, as the server wrote it. */
  const asOf = () => part.querySelector("[data-as-of]").textContent;

  let answeredAt = Date.now();
  let failures = 0;
  let timer = 0;
  let asking = false;
  let over = false;
  let warned = new Set([...box.querySelectorAll("[data-key]")].map((each) => each.dataset.key));

  const picture = () => document.querySelector("[data-trace]")?.picture;

  /** Ask once. Whatever is answered, the next question is planned. */
  async function ask() {
    if (asking || over) return;
    asking = true;
    clearTimeout(timer);
    const address = new URL(box.dataset.live, location.href);
    const drawn = picture()?.record?.next;
    if (drawn !== undefined) address.searchParams.set("after", String(drawn));
    let wait = EVERY_MS;
    try {
      const answer = await fetch(address, {
        headers: { Accept: "application/json" }, signal: AbortSignal.timeout(PATIENCE_MS),
      });
      if (answer.redirected) throw new SignedOut();
      if (!answer.ok) throw new Error(`answer ${answer.status}`);
      take(await answer.json());
      failures = 0;
    } catch (fault) {
      failures += 1;
      const retry = Math.min(FIRST_RETRY_MS * 2 ** (failures - 1), LONGEST_RETRY_MS);
      wait = retry * (0.75 + Math.random() / 2);
      if (fault instanceof SignedOut) showLost("signed out");
      else if (failures > 1 || Date.now() - answeredAt > LATE_MS) showLost("no answer");
    }
    asking = false;
    if (!over) timer = setTimeout(ask, wait);
  }

  class SignedOut extends Error {}

  function take(state) {
    answeredAt = Date.now();
    if (!lost.hidden) {
      lost.hidden = true;
      box.classList.remove("live--stale");
      say(quiet, "The server answers again.");
    }
    part.innerHTML = state.html;
    announce(state);
    if (state.rows) draw(state.rows);
    else if (state.drawable && !document.querySelector("[data-trace]")) location.reload();
    if (!state.growing) {
      over = true;
      box.removeAttribute("data-growing");
      heartbeat.textContent = "";
      say(quiet, state.headline);
    }
    beat();
  }

  async function draw(rows) {
    const shown = picture();
    if (!shown?.record) return;
    const end = shown.record.whole[1];
    if (!shown.grow(rows)) await shown.again(rows.t ? rows.t[rows.t.length - 1] - end : 0);
  }

  /** New warnings are said at once; that one is over, or the headline is another, in its turn. */
  function announce(state) {
    const keys = new Set(state.alerts.map((each) => each.key));
    const fresh = state.alerts.filter((each) => !warned.has(each.key));
    if (fresh.length) {
      say(loud, `Warning: ${fresh.map((each) => each.text).join(" ")}`);
      sound();
    } else if ([...warned].some((key) => !keys.has(key))) {
      say(quiet, keys.size ? "A warning is over; others stand." : "No warning stands any more.");
    }
    warned = keys;
    document.title = keys.size ? `(!) ${keys.size === 1 ? "Warning" : `${keys.size} warnings`} · ${title}` : title;
  }

  function say(region, sentence) {
    region.textContent = "";
    region.textContent = sentence;
  }

  function showLost(why) {
    const since = asOf();
    const sentence = why === "signed out"
      ? `You are signed out, so this page is no longer followed. What stands below is from ${since}. `
      : `This page has lost the server. What stands below is from ${since}; look at the furnace's own display. It goes on trying.`;
    if (lost.hidden) {
      lost.textContent = sentence;
      if (why === "signed out") {
        const link = document.createElement("a");
        link.href = `/sign-in?next=${encodeURIComponent(location.pathname)}`;
        link.textContent = "Sign in again";
        lost.append(link);
      }
      lost.hidden = false;
      box.classList.add("live--stale");
      say(loud, sentence);
      document.title = `(!) Lost · ${title}`;
      sound();
    }
  }

  /** Every second: how long ago the last answer came, seen even when nothing is answered. */
  function beat() {
    if (over) return;
    const ago = Math.round((Date.now() - answeredAt) / 1000);
    heartbeat.textContent = `This page follows by itself; the server last answered ${ago < 2 ? "just now" : `${ago} s ago`}.`;
    if (ago * 1000 > LATE_MS) showLost("no answer");
  }

  /** A short tone, where the reader asked for it (a browser allows none before that). */
  let tones = null;
  const soundBox = box.querySelector("[data-sound-box]");
  const wanted = box.querySelector("[data-sound]");
  if (soundBox && window.AudioContext) {
    soundBox.hidden = false;
    wanted.addEventListener("change", () => {
      if (!wanted.checked) return;
      tones ??= new AudioContext();
      tones.resume();
      sound();
    });
  }
  function sound() {
    if (!wanted?.checked || !tones) return;
    const [tone, loudness] = [tones.createOscillator(), tones.createGain()];
    tone.frequency.value = 660;
    loudness.gain.value = 0.15;
    tone.connect(loudness).connect(tones.destination);
    tone.start();
    tone.stop(tones.currentTime + 0.35);
  }

  window.addEventListener("online", ask);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) ask(); });
  setInterval(beat, 1000);
  beat();
  timer = setTimeout(ask, EVERY_MS);
})();
