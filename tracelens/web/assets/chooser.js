/* A list that drops down, of the page and its rooms, by the keyboard. The Tab key closes it and
   leaves the reader on its button, as Escape does, and goes on from there; the component alone would
   go round and round in the list, and backwards stop at an element that cannot be seen. */
"use strict";

document.addEventListener("keydown", function (event) {
  if (event.key !== "Tab") return;
  /* A list that has just opened has not taken the focus yet: then its button has the key. */
  const list = document.querySelector(".dash-dropdown-content");
  if (!list) return;
  event.preventDefault();
  event.stopPropagation();
  const escape = new KeyboardEvent("keydown", { key: "Escape", bubbles: true, cancelable: true });
  (list.contains(event.target) ? event.target : list).dispatchEvent(escape);
}, { capture: true });

document.addEventListener("focusin", function (event) {
  const button = event.target.closest(".dash-dropdown");
  const before = button && button.previousElementSibling;
  if (before && before.matches(".dash-dropdown-focus-target")) before.tabIndex = -1;
});
