/* A shared tablet: signed out after so many seconds without a touch; while it is touched the session is kept alive. */
(function () {
  "use strict";
  var me = document.currentScript, seconds = Number(me.dataset.seconds), touched = Date.now(), told = Date.now();
  function post(url) {
    return fetch(url, { method: "POST", headers: JSON.parse(document.body.getAttribute("hx-headers") || "{}"), keepalive: true });
  }
  ["pointerdown", "keydown", "scroll"].forEach(function (name) {
    document.addEventListener(name, function () { touched = Date.now(); }, { passive: true, capture: true });
  });
  window.setInterval(function () {
    var now = Date.now();
    if (now - touched >= seconds * 1000) {
      post(me.dataset.out).catch(function () {}).then(function () { window.location.assign(me.dataset.then); });
      touched = now;
    } else if (touched > told && now - told > Math.min(60, seconds / 3) * 1000) {
      told = now;
      post(me.dataset.here).catch(function () {});
    }
  }, 1000);
}());
