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

/* A click on a lane's name puts it on top, behind those that are there; another click back. */
(function () {
  function named(event) {
    const page = window.tracelens, box = document.querySelector(".schedule .plot");
    if (!box || !page.edges || !page.view || !event.target.closest(".schedule .plot")) return null;
    const frame = box.getBoundingClientRect();
    const y = event.clientY - frame.top - 6;
    if (event.clientX - frame.left >= page.margins.left) return null;
    const lane = page.edges.lanes.find(([, top, bottom]) => y >= top && y < bottom);
    return lane ? lane[0] : null;
  }

  document.addEventListener("click", function (event) {
    const name = event.button === 0 ? named(event) : null;
    if (name === null) return;
    const first = window.tracelens.view.first || [];
    const then = first.includes(name) ? first.filter((one) => one !== name) : [...first, name];
    window.dash_clientside.set_props("lanes-first", { value: then });
  });

  document.addEventListener("pointermove", function (event) {
    const box = document.querySelector(".schedule .plot");
    if (box) box.classList.toggle("names", named(event) !== null);
  }, { passive: true });
})();
