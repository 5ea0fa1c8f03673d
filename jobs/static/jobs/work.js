/* Logging work: set, area and passes follow the step and the shift that are chosen. Without it the server asks. */
(function () {
  "use strict";
  var form = document.querySelector("form[data-follow]");
  if (!form) { return; }
  ["shift", "step"].forEach(function (name) {
    var field = form.elements[name];
    if (!field) { return; }
    field.addEventListener("change", function () {
      var said = new URLSearchParams();
      ["shift", "step"].forEach(function (one) { if (form.elements[one]) { said.set(one, form.elements[one].value); } });
      /* Another shift has steps of its own: its first open one is offered. */
      if (name === "shift") { said.delete("step"); }
      said.set("pick", name);
      location.replace(form.dataset.follow + "?" + said.toString());
    });
  });
  var picked = new URLSearchParams(location.search).get("pick");
  if (picked === "shift" || picked === "step") { form.elements[picked].focus(); }
})();
