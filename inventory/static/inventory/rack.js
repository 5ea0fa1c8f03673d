/* The rack: one tab stop, arrows move, Enter opens, a strip at the foot reads; touch reads first, then opens. */
(function () {
  "use strict";
  var rack = document.querySelector("[data-rack]"), strip = document.querySelector("[data-rack-strip]");
  if (!rack || !strip) { return; }
  var code = strip.querySelector("[data-code]"), words = strip.querySelector("[data-words]"), open = strip.querySelector("[data-open]");
  var read = null, before = null, touched = false;

  function rows() {
    return Array.from(rack.querySelectorAll("svg.rack")).map(function (svg) { return Array.from(svg.querySelectorAll("a")); })
      .filter(function (row) { return row.length; });
  }
  function show(link) {
    if (read) { read.classList.remove("read"); }
    read = link;
    link.classList.add("read");
    var name = link.getAttribute("aria-label"), cut = name.indexOf(", ");
    code.textContent = cut < 0 ? name : name.slice(0, cut);
    words.textContent = cut < 0 ? "" : name.slice(cut + 2);
    open.hidden = false;
    open.setAttribute("href", link.getAttribute("href"));
  }
  function go(link) {
    rack.querySelectorAll('svg.rack a[tabindex="0"]').forEach(function (old) { old.setAttribute("tabindex", "-1"); });
    link.setAttribute("tabindex", "0");
    link.focus({ preventScroll: true });
    link.scrollIntoView({ block: "nearest" });
  }
  function middle(link) { var box = link.getBoundingClientRect(); return box.left + box.width / 2; }

  rack.addEventListener("focusin", function (event) { var link = event.target.closest("svg.rack a"); if (link) { show(link); } });
  rack.addEventListener("pointerover", function (event) { var link = event.target.closest("svg.rack a"); if (link && event.pointerType !== "touch") { show(link); } });
  rack.addEventListener("pointerdown", function (event) { touched = event.pointerType === "touch"; before = read; }, true);
  rack.addEventListener("click", function (event) {
    var link = event.target.closest("svg.rack a");
    /* The touch has focused and so read it by now: what counts is what was read before. */
    if (link && touched && before !== link) { event.preventDefault(); show(link); }
  });
  rack.addEventListener("keydown", function (event) {
    var link = event.target.closest("svg.rack a");
    if (!link || event.ctrlKey || event.metaKey || event.altKey) { return; }
    var all = rows(), at = all.findIndex(function (row) { return row.indexOf(link) >= 0; }), row = all[at], place = row.indexOf(link), next = null;
    var back = getComputedStyle(rack).direction === "rtl" ? "ArrowRight" : "ArrowLeft", on = back === "ArrowLeft" ? "ArrowRight" : "ArrowLeft";
    if (event.key === on) { next = row[place + 1]; }
    else if (event.key === back) { next = row[place - 1]; }
    else if (event.key === "Home") { next = event.shiftKey ? all[0][0] : row[0]; }
    else if (event.key === "End") { next = row[row.length - 1]; }
    else if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      var other = all[at + (event.key === "ArrowDown" ? 1 : -1)], x = middle(link);
      if (other) { next = other.reduce(function (best, one) { return Math.abs(middle(one) - x) < Math.abs(middle(best) - x) ? one : best; }); }
    } else if (event.key === "Escape") { link.blur(); if (read) { read.classList.remove("read"); read = null; } return; }
    else { return; }
    event.preventDefault();
    if (next) { go(next); }
  });
})();
