/* One fewer and one more beside a number field, and the sentence under it ("5 packs = 60 pieces").
   Without this script the number field works alone. Works on parts that htmx brings in later, too. */
(function () {
  "use strict";

  function bound(input, name, otherwise) {
    return input[name] === "" ? otherwise : Number(input[name]);
  }

  function show(stepper) {
    var input = stepper.querySelector("input");
    var value = Number(input.value);
    stepper.querySelector(".stepper-less").disabled = value <= bound(input, "min", -Infinity);
    stepper.querySelector(".stepper-more").disabled = value >= bound(input, "max", Infinity);
    var says = stepper.querySelector(".stepper-says");
    var each = Number(stepper.dataset.each);
    if (says && each && input.value !== "" && input.validity.valid) {
      var named = value === 1 ? stepper.dataset.one : stepper.dataset.many;
      says.textContent = value + " " + named + " = " + (value * each).toLocaleString("en") + " " + stepper.dataset.piece;
    }
  }

  function step(button) {
    var input = button.closest("[data-stepper]").querySelector("input");
    if (button.classList.contains("stepper-more")) { input.stepUp(); } else { input.stepDown(); }
    input.dispatchEvent(new Event("input", { bubbles: true }));
    input.dispatchEvent(new Event("change", { bubbles: true }));
  }

  function enhance(root) {
    root.querySelectorAll("[data-stepper]").forEach(function (stepper) {
      stepper.querySelectorAll("button").forEach(function (button) { button.hidden = false; });
      show(stepper);
    });
  }

  document.addEventListener("click", function (event) {
    var button = event.target.closest("[data-stepper] button");
    if (button) { step(button); }
  });
  document.addEventListener("input", function (event) {
    var stepper = event.target.closest("[data-stepper]");
    if (stepper) { show(stepper); }
  });
  document.addEventListener("htmx:load", function (event) { enhance(event.detail.elt.parentNode || document); });
  enhance(document);
}());
