/* The choice of lanes closes when the reader is done with it. */
"use strict";

document.addEventListener("keydown", function (event) {
  const open = document.querySelector(".lanes[open]");
  if (event.key !== "Escape" || !open) return;
  open.removeAttribute("open");
  open.querySelector("summary").focus();
});

document.addEventListener("pointerdown", function (event) {
  const open = document.querySelector(".lanes[open]");
  if (open && document.contains(event.target) && !open.contains(event.target)) {
    open.removeAttribute("open");
  }
});
