/* Running scans: sends each one at once, keeps the focus in the field, lets the next one come while one is on its way.
   Without this file every scan is a plain form. */
(function () {
  "use strict";
  var field = document.querySelector("#code"), queue = [], busy = false, waits = null;

  function uuid() {
    var bytes = new Uint8Array(16);
    window.crypto.getRandomValues(bytes);
    bytes[6] = (bytes[6] & 15) | 64;
    bytes[8] = (bytes[8] & 63) | 128;
    var hex = Array.prototype.map.call(bytes, function (byte) { return (byte + 256).toString(16).slice(1); }).join("");
    return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
  }

  function back() { if (field && !document.querySelector("details.verdict-why[open]")) { field.focus({ preventScroll: true }); } }

  function told(words) {
    var box = document.querySelector("[data-scan-queue]");
    if (!box) { return; }
    box.hidden = !words;
    box.textContent = words ? box.dataset.words + queue.length : "";
  }

  function show(html) {
    var old = document.getElementById("answer"), holder = document.createElement("template");
    holder.innerHTML = html;
    var fresh = holder.content.querySelector("#answer");
    if (!old || !fresh) { window.location.reload(); return; }
    old.replaceWith(fresh);
    var count = document.querySelector("[data-scan-count]");
    if (count) { count.textContent = fresh.dataset.count.split("/")[0]; }
    var verdict = fresh.querySelector("[data-verdict]");
    if (verdict) { verdict.dataset.said = "1"; if (window.Verdict) { window.Verdict.say(verdict.dataset.verdict); } }
    var to = fresh.querySelector("[data-in-to]");
    if (to) { document.querySelectorAll("[name=place]").forEach(function (one) { one.value = to.dataset.inTo; }); }
    document.documentElement.dataset.scans = String(Number(document.documentElement.dataset.scans || 0) + 1);
    back();
  }

  function next() {
    if (busy || !queue.length) { return; }
    busy = true;
    var job = queue[0];
    fetch(job.url, { method: "POST", body: job.body, headers: { "X-Scan": "1" }, credentials: "same-origin" }).then(function (answer) {
      busy = false;
      if (answer.status === 503) { again(); return; }
      queue.shift();
      told("");
      if (answer.redirected && !new URL(answer.url).pathname.startsWith("/scan/")) { window.location.reload(); return; }
      if (!answer.ok) { window.location.reload(); return; }
      return answer.text().then(function (html) { show(html); next(); });
    }, function () {
      busy = false;
      again();
    });
  }
  /* No signal, or the book is being written: the scan waits, with its own key, and is tried again. */
  function again() {
    told("waits");
    window.clearTimeout(waits);
    waits = window.setTimeout(next, 3000);
  }
  window.addEventListener("online", next);

  document.addEventListener("submit", function (event) {
    var form = event.target;
    if (form.method !== "post" || !(form.hasAttribute("data-scan-form") || form.closest("#answer"))) { return; }
    event.preventDefault();
    event.stopPropagation();
    var body = new FormData(form, event.submitter);
    if (form.hasAttribute("data-scan-field")) {
      if (!field.value.trim()) { return; }
      field.value = "";
    }
    body.set("act_id", uuid());
    queue.push({ url: form.action, body: body });
    if (form.hasAttribute("data-scan-photo")) { form.reset(); }
    next();
  }, true);

  /* A hand scanner types wherever the focus is: its keys belong to the field. */
  document.addEventListener("keydown", function (event) {
    if (!field || event.ctrlKey || event.metaKey || event.altKey || event.key.length !== 1) { return; }
    var at = document.activeElement;
    if (at === field || (at && /^(INPUT|TEXTAREA|SELECT)$/.test(at.tagName))) { return; }
    if (event.key === " " && at && at !== document.body) { return; }
    field.focus({ preventScroll: true });
  }, true);

  document.querySelectorAll("[data-scan-photo] input[type=file]").forEach(function (input) {
    document.documentElement.classList.add("scan-script");
    input.addEventListener("change", function () { if (input.files.length) { input.form.requestSubmit(); } });
  });

  /* The reason's field comes into sight and takes the focus when it opens. */
  document.addEventListener("toggle", function (event) {
    if (!event.target.matches || !event.target.matches("details.verdict-why[open]")) { return; }
    event.target.scrollIntoView({ block: "center" });
    event.target.querySelector("input[name=why]").focus({ preventScroll: true });
  }, true);

  /* The camera in the page: only where the browser reads codes itself and the address is secure. */
  var button = document.querySelector("[data-scan-camera]");
  if (button && field && window.isSecureContext && "BarcodeDetector" in window && navigator.mediaDevices) {
    button.hidden = false;
    button.addEventListener("click", function () {
      var box = document.querySelector(".scan-camera");
      if (box) { box.stop(); return; }
      navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } }).then(function (stream) {
        var video = document.createElement("video"), detector = new window.BarcodeDetector({ formats: ["qr_code"] }), last = "";
        video.className = "scan-camera";
        video.muted = true;
        video.setAttribute("playsinline", "");
        video.srcObject = stream;
        video.stop = function () { stream.getTracks().forEach(function (track) { track.stop(); }); video.remove(); };
        document.querySelector("main").prepend(video);
        video.play();
        (function look() {
          if (!video.isConnected) { return; }
          detector.detect(video).then(function (found) {
            var text = found.length ? found[0].rawValue : "";
            if (text && text !== last) { field.value = text; field.form.requestSubmit(); }
            last = text || last;
          }, function () { /* the picture is not ready yet */ }).then(function () { window.setTimeout(look, 250); });
        })();
      }, function () { button.hidden = true; });
    });
  }
  back();
})();
