/* A button that prints; without script the browser's own menu does. */
(function () {
  "use strict";
  document.querySelectorAll("[data-print]").forEach(function (button) {
    button.addEventListener("click", function () { window.print(); });
  });
})();
