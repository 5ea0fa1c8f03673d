/* Small helps; every page also works without this file. */
(function () {
  "use strict";

  function typing(target) {
    return target.closest && target.closest("input:not([type=checkbox],[type=radio],[type=button]), textarea, select, [contenteditable]");
  }

  /* `/` goes to the find field; a page's own keys are data-key="o" on a link or button. */
  document.addEventListener("keydown", function (event) {
    if (event.ctrlKey || event.metaKey || event.altKey || typing(event.target)) { return; }
    if (event.key === "/") {
      var find = document.querySelector("[data-find]");
      if (find && find.offsetParent !== null) { event.preventDefault(); find.focus(); find.select(); }
      return;
    }
    if (event.key.length === 1) {
      var keyed = document.querySelector('[data-key="' + CSS.escape(event.key) + '"]');
      if (keyed) { event.preventDefault(); keyed.click(); }
    }
  });
  document.addEventListener("keydown", function (event) {
    if (event.key === "z" && (event.ctrlKey || event.metaKey) && !event.shiftKey && !(typing(event.target) && event.target.value)) {
      var undo = document.querySelector("[data-undo]");
      if (undo) { event.preventDefault(); undo.click(); }
    }
    if (event.key === "Escape") {
      document.querySelectorAll("details[data-fold][open]").forEach(function (fold) { fold.open = false; fold.querySelector("summary").focus(); });
    }
  });
  document.addEventListener("click", function (event) {
    document.querySelectorAll("details[data-fold][open]").forEach(function (fold) { if (!fold.contains(event.target)) { fold.open = false; } });
  });

  /* Busy: a second press of the same form does nothing. htmx requests are left to htmx's own hx-disabled-elt and sync. */
  document.addEventListener("submit", function (event) {
    var form = event.target;
    if (event.defaultPrevented || form.method === "get" || form.hasAttribute("hx-post")) { return; }
    if (form.dataset.sent) { event.preventDefault(); return; }
    form.dataset.sent = "1";
    var button = event.submitter || form.querySelector("button:not([type=button])");
    if (button) {
      button.setAttribute("aria-busy", "true");
      window.setTimeout(function () { if (form.dataset.sent && !button.dataset.words) { button.dataset.words = button.innerHTML; button.textContent = form.dataset.busy || document.body.dataset.busy; } }, 400);
    }
  });
  function fresh() {
    var part = crypto.getRandomValues(new Uint8Array(16));
    part[6] = (part[6] & 15) | 64;
    part[8] = (part[8] & 63) | 128;
    return Array.from(part, function (byte) { return byte.toString(16).padStart(2, "0"); }).join("")
      .replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  }
  /* Back to a page that was sent: pressing again is a new act. */
  window.addEventListener("pageshow", function (event) {
    if (!event.persisted) { return; }
    document.querySelectorAll("input[name=act_id]").forEach(function (field) { field.value = fresh(); });
    document.querySelectorAll("form[data-sent]").forEach(function (form) {
      delete form.dataset.sent;
      form.querySelectorAll("[aria-busy]").forEach(function (button) {
        button.removeAttribute("aria-busy");
        if (button.dataset.words) { button.innerHTML = button.dataset.words; delete button.dataset.words; }
      });
    });
  });

  /* Steppers: press, or hold to repeat. The field itself can be typed in; comma or point is kept as the person writes it. */
  function step(box, sign) {
    var field = box.querySelector("input"), by = parseFloat(box.dataset.step) || 1;
    var comma = field.value.indexOf(",") >= 0 && field.value.indexOf(".") < 0;
    var now = parseFloat(field.value.replace(",", ".")) || 0, places = (String(by).split(".")[1] || "").length;
    var next = Math.round((now + sign * by) / by) * by;
    if (box.dataset.least !== undefined) { next = Math.max(next, parseFloat(box.dataset.least)); }
    if (box.dataset.most !== undefined) { next = Math.min(next, parseFloat(box.dataset.most)); }
    var words = next.toFixed(places);
    field.value = comma ? words.replace(".", ",") : words;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }
  document.addEventListener("pointerdown", function (event) {
    var button = event.target.closest("[data-less], [data-more]");
    if (!button || event.button) { return; }
    var box = button.closest("[data-stepper]"), sign = button.hasAttribute("data-more") ? 1 : -1, repeat;
    var wait = window.setTimeout(function () { button.dataset.held = "1"; repeat = window.setInterval(function () { step(box, sign); }, 90); }, 450);
    function stop() { window.clearTimeout(wait); window.clearInterval(repeat); ["pointerup", "pointercancel", "pointerleave"].forEach(function (name) { button.removeEventListener(name, stop); }); }
    ["pointerup", "pointercancel", "pointerleave"].forEach(function (name) { button.addEventListener(name, stop); });
  });
  document.addEventListener("click", function (event) {
    var button = event.target.closest("[data-less], [data-more]");
    if (!button) { return; }
    if (button.dataset.held) { delete button.dataset.held; return; }
    step(button.closest("[data-stepper]"), button.hasAttribute("data-more") ? 1 : -1);
  });

  /* Night or light, at once; kept for the person where the page knows how (data-theme-url). */
  document.addEventListener("click", function (event) {
    var button = event.target.closest("[data-theme-switch]");
    if (!button) { return; }
    var root = document.documentElement, dark = root.dataset.theme ? root.dataset.theme === "night" : window.matchMedia("(prefers-color-scheme: dark)").matches;
    root.dataset.theme = dark ? "light" : "night";
    var token = document.body.getAttribute("hx-headers"), url = button.dataset.themeUrl;
    if (url && token) {
      fetch(url, { method: "POST", headers: JSON.parse(token), body: new URLSearchParams({ theme: root.dataset.theme }) });
    }
  });

  /* On a phone the first mend is open and the others fold; without script all stay open. */
  function fold(root) {
    if (!root.querySelectorAll) { return; }
    root.querySelectorAll("[data-folds] [data-unfold][hidden]").forEach(function (button) {
      button.hidden = false;
      button.setAttribute("aria-expanded", "false");
    });
  }
  fold(document);
  document.addEventListener("htmx:load", function (event) { fold(event.target); });
  document.addEventListener("click", function (event) {
    var button = event.target.closest("[data-unfold]");
    if (button) { button.setAttribute("aria-expanded", button.getAttribute("aria-expanded") === "true" ? "false" : "true"); }
  });

  /* A summary of refusals takes the focus. */
  function takeFocus(root) {
    var box = root.querySelector && root.querySelector("[data-take-focus]");
    if (box) { box.focus(); }
  }
  takeFocus(document);
  document.addEventListener("htmx:load", function (event) { takeFocus(event.target); });
  /* A refused form comes back with 422: show it. */
  document.addEventListener("htmx:beforeSwap", function (event) {
    if (event.detail.xhr.status === 422) { event.detail.shouldSwap = true; event.detail.isError = false; }
  });
})();
