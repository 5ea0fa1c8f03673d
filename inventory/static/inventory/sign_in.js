/* The PIN pad: four boxes, digits by finger or key, sent with the fourth; letters find a name. Without this file the field itself is typed in. */
(function () {
  "use strict";
  var form = document.querySelector("[data-pin-form]"), field = form && form.querySelector("#pin"), boxes = [];

  function show() {
    boxes.forEach(function (box, i) { box.classList.toggle("on", i < field.value.length); });
    if (field.value.length === 4 && !form.dataset.sent) { form.requestSubmit(); }
  }
  function add(digit) { if (field.value.length < 4) { field.value += digit; show(); } }
  function back() { field.value = field.value.slice(0, -1); show(); }

  if (form) {
    var digits = form.querySelector("[data-digits]");
    for (var i = 0; i < 4; i += 1) {
      var box = document.createElement("span");
      box.className = "box";
      box.setAttribute("aria-hidden", "true");
      boxes.push(box);
      digits.appendChild(box);
    }
    digits.classList.add("boxed");
    form.querySelector("[data-pad]").hidden = false;
    form.querySelector("[data-go]").hidden = true;
    field.addEventListener("input", function () { field.value = field.value.replace(/[^0-9]/g, "").slice(0, 4); show(); });
    form.addEventListener("click", function (event) {
      var button = event.target.closest("button[type=button]");
      if (!button) { return; }
      if (button.dataset.digit) { add(button.dataset.digit); }
      else if (button.hasAttribute("data-clear")) { field.value = ""; show(); }
      else { back(); }
    });
    window.addEventListener("pageshow", function () { field.value = ""; delete form.dataset.sent; show(); });
  }
  document.addEventListener("keydown", function (event) {
    if (event.ctrlKey || event.metaKey || event.altKey) { return; }
    var typing = event.target.closest && event.target.closest("input, select, textarea");
    if (typing && typing !== field) { return; }
    if (form && typing !== field && /^[0-9]$/.test(event.key)) { add(event.key); event.preventDefault(); }
    else if (form && typing !== field && event.key === "Backspace") { back(); event.preventDefault(); }
    else if (event.key.length === 1 && /\p{L}/u.test(event.key)) {
      var letter = event.key.toLocaleLowerCase(), names = Array.prototype.slice.call(document.querySelectorAll("[data-name]"));
      var fitting = names.filter(function (name) { return name.dataset.name.toLocaleLowerCase().indexOf(letter) === 0; });
      if (fitting.length) { fitting[(fitting.indexOf(document.activeElement) + 1) % fitting.length].focus(); event.preventDefault(); }
    }
  });
}());
