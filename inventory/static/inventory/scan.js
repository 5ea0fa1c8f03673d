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

  /* Keys typed into a bar that only sticks to the foot move the page a little each time; a fixed one leaves it alone. */
  var foot = document.querySelector(".scan-foot");
  if (foot && field) {
    document.documentElement.classList.add("scan-fixed");
    new ResizeObserver(function () { document.body.style.paddingBlockEnd = foot.offsetHeight + "px"; }).observe(foot);
  }

  /* What a scan gave is seen, wherever the page was scrolled to: the counter with it where both have room. */
  function reveal(fresh) {
    var said = fresh.querySelector("[data-verdict]");
    if (!said) { return; }
    function hidden() {
      var top = said.getBoundingClientRect().top, low = foot ? foot.getBoundingClientRect().top : window.innerHeight;
      return top < 0 || top > low - 120;
    }
    if (hidden() || window.scrollY) { window.scrollTo(0, 0); }
    if (hidden()) { said.scrollIntoView({ block: "start" }); }
  }

  var box = document.querySelector("[data-scan-queue]"), lost = [];
  var shelf = "scans " + window.location.pathname + " " + (box ? box.dataset.person : "");

  /* What waits is written down in the tab, so that a reload or a sign-in in between loses none: a person's own, of this
     page. A photo cannot be written down; it waits in the page alone. */
  function keep() {
    var rows = queue.filter(function (job) { return job.rows; }).map(function (job) {
      return { url: job.url, rows: job.rows, tries: job.tries };
    });
    try {
      if (rows.length || lost.length) { window.sessionStorage.setItem(shelf, JSON.stringify({ queue: rows, lost: lost })); }
      else { window.sessionStorage.removeItem(shelf); }
    } catch (full) { /* the queue in the page holds */ }
  }

  function takeUp() {
    var kept = null;
    try { kept = JSON.parse(window.sessionStorage.getItem(shelf)); } catch (none) { /* nothing waits */ }
    if (!box || !kept) { return; }
    lost = kept.lost;
    queue = kept.queue;
    told(queue.length ? "waits" : "");
    next();
  }

  function bodyOf(job) {
    var body = job.body || new FormData(), token = document.querySelector("[name=csrfmiddlewaretoken]");
    if (!job.body) { job.rows.forEach(function (row) { body.append(row[0], row[1]); }); }
    if (token) { body.set("csrfmiddlewaretoken", token.value); }
    return body;
  }

  function codeOf(job) {
    var row = (job.rows || []).filter(function (each) { return each[0] === "code"; })[0];
    return row ? row[1].trim() : "";
  }

  function told(words) {
    if (!box) { return; }
    var said = words && queue.length ? [box.dataset.words + queue.length] : [];
    if (lost.length) { said.push(box.dataset.lost + lost.join(", ")); }
    box.hidden = !said.length;
    box.textContent = said.join(" · ");
  }

  function show(html) {
    var old = document.getElementById("answer"), holder = document.createElement("template");
    holder.innerHTML = html;
    var fresh = holder.content.querySelector("#answer");
    if (!old || !fresh) { return false; }
    old.replaceWith(fresh);
    var count = document.querySelector("[data-scan-count]");
    if (count) { count.textContent = fresh.dataset.count.split("/")[0]; }
    var verdict = fresh.querySelector("[data-verdict]");
    if (verdict) { verdict.dataset.said = "1"; if (window.Verdict) { window.Verdict.say(verdict.dataset.verdict); } }
    var to = fresh.querySelector("[data-in-to]");
    if (to && to.dataset.inTo) {
      document.querySelectorAll("[name=place]").forEach(function (one) { one.value = to.dataset.inTo; });
      document.querySelector("h1[data-in-name]").textContent = to.dataset.inName;
      window.history.replaceState(null, "", "?place=" + to.dataset.inTo);  // a reload keeps it
    }
    document.documentElement.dataset.scans = String(Number(document.documentElement.dataset.scans || 0) + 1);
    back();
    reveal(fresh);
    return true;
  }

  function next() {
    if (busy || !queue.length) { return; }
    busy = true;
    var job = queue[0], slow = window.setTimeout(told, 1500, "waits");
    fetch(job.url, { method: "POST", body: bodyOf(job), headers: { "X-Scan": "1" }, credentials: "same-origin" }).then(function (answer) {
      return answer.text().then(function (html) { return function () { answered(job, answer, html); }; });
    }).catch(function () { return again; }).then(function (then) {
      window.clearTimeout(slow);
      busy = false;
      then();
    });
  }

  /* Only a verdict ends a scan. Whatever else comes back, it stays in the queue, before those that came after it. */
  function answered(job, answer, html) {
    if (answer.status < 500 && show(html)) { done(job); return; }
    if (answer.status === 503) { again(); return; }
    if (answer.redirected) {
      if (!new URL(answer.url).pathname.startsWith("/sign-in/")) { queue.shift(); }
      afresh();
      return;
    }
    job.tries = (job.tries || 0) + 1;
    if (answer.status === 403 && job.tries === 1) { afresh(); return; }  // a sign-in elsewhere: the page's key is old
    if (job.tries < 3) { again(); return; }
    lost.push(codeOf(job) || "?");
    queue.shift();
    keep();
    told("waits");
    next();
  }

  function done(job) {
    var code = codeOf(job);
    queue.shift();
    if (code) { lost = lost.filter(function (each) { return each !== code; }); }
    keep();
    told("");
    next();
  }

  function afresh() {
    keep();
    window.removeEventListener("beforeunload", stay);
    window.location.reload();
  }

  function stay(event) { if (queue.length) { event.preventDefault(); } }
  window.addEventListener("beforeunload", stay);

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
    var rows = Array.from(body.entries());
    var whole = rows.every(function (row) { return typeof row[1] === "string"; });
    queue.push(whole ? { url: form.action, rows: rows } : { url: form.action, body: body });
    keep();
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
  takeUp();
  back();
})();
