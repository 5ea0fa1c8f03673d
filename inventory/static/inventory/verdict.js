/* Sound and vibration of a verdict: never the only sign, off by the person's setting. */
(function () {
  "use strict";
  var context = null;
  var PULSES = { taken: [80], refused: [140, 70, 140, 70, 140], elsewhere: [90, 90, 90], short: [80, 60, 300], open: [60] };
  /* tones: [start s, length s, Hz, shape] */
  var TONES = {
    taken: [[0, 0.09, 660, "sine"], [0.1, 0.13, 880, "sine"]],
    refused: [[0, 0.55, 110, "sawtooth"]],
    short: [[0, 0.09, 660, "sine"], [0.12, 0.4, 165, "sawtooth"]],
    elsewhere: [[0, 0.1, 520, "sine"], [0.17, 0.1, 520, "sine"]],
    open: [[0, 0.1, 520, "sine"]]
  };

  function on() { return document.body.dataset.sound !== "off"; }

  function play(kind) {
    var Context = window.AudioContext || window.webkitAudioContext;
    if (!Context || !TONES[kind]) { return; }
    try {
      context = context || new Context();
      if (context.state === "suspended") { context.resume(); }
      TONES[kind].forEach(function (tone) {
        var source = context.createOscillator(), loud = context.createGain(), at = context.currentTime + tone[0];
        source.type = tone[3];
        source.frequency.value = tone[2];
        loud.gain.setValueAtTime(0.0001, at);
        loud.gain.exponentialRampToValueAtTime(0.35, at + 0.012);
        loud.gain.setValueAtTime(0.35, at + tone[1] - 0.03);
        loud.gain.exponentialRampToValueAtTime(0.0001, at + tone[1]);
        source.connect(loud).connect(context.destination);
        source.start(at);
        source.stop(at + tone[1] + 0.02);
      });
    } catch (problem) { /* a device without sound still shows the verdict */ }
  }

  function say(kind) {
    if (!on()) { return; }
    play(kind);
    if (navigator.vibrate) { try { navigator.vibrate(PULSES[kind] || []); } catch (problem) { /* not allowed yet */ } }
  }

  window.Verdict = { say: say };

  function sayNew(root) {
    var shown = root.matches && root.matches("[data-verdict]") ? root : root.querySelector && root.querySelector("[data-verdict]");
    if (shown && !shown.dataset.said) { shown.dataset.said = "1"; say(shown.dataset.verdict); }
  }
  document.addEventListener("DOMContentLoaded", function () { sayNew(document); });
  document.addEventListener("htmx:load", function (event) { sayNew(event.target); });
})();
