/* Reorder: up and down walk the tool types, Enter opens the one in focus (a link does that by itself). */
(function () {
  "use strict";
  document.addEventListener("keydown", function (event) {
    if ((event.key !== "ArrowDown" && event.key !== "ArrowUp") || event.ctrlKey || event.metaKey || event.altKey) { return; }
    var here = document.activeElement;
    if (here && here !== document.body && !here.closest("[data-rows], main")) { return; }
    if (here && here.matches("input, select, textarea")) { return; }
    var rows = Array.prototype.slice.call(document.querySelectorAll("[data-row]"));
    if (!rows.length) { return; }
    var at = rows.indexOf(here);
    if (at < 0 && here !== document.body && here.id !== "main") { return; }
    var next = at < 0 ? 0 : at + (event.key === "ArrowDown" ? 1 : -1);
    if (next < 0 || next >= rows.length) { return; }
    event.preventDefault();
    rows[next].focus();
  });
})();
