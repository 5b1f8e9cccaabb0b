/* The bench's tones. Each only doubles a sentence; the switch [data-switch=sound] is this browser's.
   bench.sound(what) hands back a promise that ends with the tone, at once where none is played. */
"use strict";

const bench = {};

(() => {
  const KEPT = "temperbook bench sound";
  /* Hertz and seconds of each tone: two rising for what conforms, falling for what does not or is
     refused, one for what is recorded, three for what is not saved yet. */
  const TONES = {
    conforms: [[660, 0.08], [990, 0.12]],
    does_not_conform: [[330, 0.12], [220, 0.2]],
    not_proven: [[440, 0.08], [440, 0.08]],
    recorded: [[880, 0.1]],
    refused: [[180, 0.15], [140, 0.25]],
    unsaved: [[520, 0.08], [390, 0.08], [520, 0.08]],
  };
  const LOUD = 0.2;
  const button = document.querySelector("[data-switch=sound]");
  let context = null;

  function isOn() {
    return localStorage.getItem(KEPT) !== "off";
  }

  function show() {
    if (button) button.textContent = isOn() ? "Turn sound off" : "Turn sound on";
  }

  function play(tones) {
    context ??= new AudioContext();
    context.resume();
    let at = context.currentTime;
    for (const [hertz, seconds] of tones) {
      const tone = context.createOscillator();
      const level = context.createGain();
      tone.frequency.value = hertz;
      level.gain.value = LOUD;
      tone.connect(level).connect(context.destination);
      tone.start(at);
      at += seconds;
      tone.stop(at);
    }
    return tones.reduce((sum, [, seconds]) => sum + seconds, 0);
  }

  /** A browser lets a page sound only once somebody has pressed a key or a button on it. */
  bench.sound = (what) => {
    const tones = TONES[what];
    if (!tones || !isOn() || !navigator.userActivation?.hasBeenActive) return Promise.resolve();
    const seconds = play(tones);
    return new Promise((done) => setTimeout(done, 1000 * seconds));
  };

  button?.addEventListener("click", () => {
    localStorage.setItem(KEPT, isOn() ? "off" : "on");
    show();
    bench.sound("recorded");
  });
  show();
})();
