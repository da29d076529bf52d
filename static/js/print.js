/* Buttons marked data-print open the browser's print window. Without scripts they stay hidden. */
(function () {
  "use strict";
  document.querySelectorAll("[data-print]").forEach(function (button) { button.hidden = false; });
  document.addEventListener("click", function (event) {
    if (event.target.closest("[data-print]")) { window.print(); }
  });
}());
