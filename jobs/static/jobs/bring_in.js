/* Bringing in: a changed column is used at once; up and down walk the questions, 1 to 3 answer. */
(function () {
  "use strict";
  document.documentElement.classList.add("has-script");
  var columns = document.querySelector("[data-columns]");
  if (columns) {
    columns.addEventListener("change", function () { columns.requestSubmit(); });
  }
  var asks = Array.from(document.querySelectorAll("[data-asks] > li"));
  if (!asks.length) { return; }
  function here() {
    return asks.findIndex(function (ask) { return ask.contains(document.activeElement); });
  }
  document.addEventListener("keydown", function (event) {
    var target = event.target;
    if (event.ctrlKey || event.metaKey || event.altKey || target.closest("select, textarea, input:not([type=checkbox])")) { return; }
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      var now = here(), next = now < 0 ? 0 : Math.min(asks.length - 1, Math.max(0, now + (event.key === "ArrowDown" ? 1 : -1)));
      event.preventDefault();
      asks[next].focus();
      asks[next].scrollIntoView({ block: "nearest" });
    } else if (/^[1-3]$/.test(event.key)) {
      var ask = asks[Math.max(0, here())], button = ask.querySelector('[data-answer="' + event.key + '"]');
      if (button) { event.preventDefault(); button.click(); }
    }
  });
  /* Back from an answer: on with the next question, once the browser has gone to its section (which takes the focus). */
  if (location.hash === "#asks") {
    window.addEventListener("load", function () { window.setTimeout(function () { asks[0].focus({ preventScroll: true }); }, 0); });
  }
})();
