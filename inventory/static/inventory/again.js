/* The book was being written: what was sent waits in the page and is sent again, for some minutes; then by hand. */
(function () {
  "use strict";
  var form = document.querySelector("form[data-again]"), most = 40, shelf = "again " + form.getAttribute("action"), kept = null;
  try { kept = JSON.parse(window.sessionStorage.getItem(shelf)); } catch (none) { /* the first time */ }
  var tries = kept && Date.now() - kept.at < 60000 ? kept.tries + 1 : 1;
  try { window.sessionStorage.setItem(shelf, JSON.stringify({ tries: tries, at: Date.now() })); } catch (full) { return; }
  if (tries > most) { return; }
  document.querySelector("[data-again-words]").hidden = false;
  window.setTimeout(function () { if (!form.dataset.sent) { form.requestSubmit(); } }, Number(form.dataset.again) * 1000);
})();
