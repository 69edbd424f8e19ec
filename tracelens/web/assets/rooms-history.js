/* The room of a history: a choice draws the list anew; the keyboard stays where it was, and the
   chosen measure in sight. */
"use strict";

(function () {
  const LINKS = "#measures a, #filters a, #over a";
  let wanted = null;

  document.addEventListener("click", function (event) {
    const link = event.target.closest(LINKS);
    wanted = link && { box: link.closest("[id]").id, text: link.textContent };
  });

  function settle() {
    if (wanted && document.activeElement === document.body) {
      const links = document.querySelectorAll(`#${wanted.box} a`);
      const link = [...links].find((one) => one.textContent === wanted.text);
      if (link) link.focus({ preventScroll: true });
    }
    const list = document.getElementById("measures");
    const chosen = list && list.querySelector("tr[aria-current]");
    if (!chosen || chosen === settle.shown) return;
    settle.shown = chosen;
    const box = list.getBoundingClientRect(), row = chosen.getBoundingClientRect();
    if (row.bottom > box.bottom) list.scrollTop += row.bottom - box.bottom;
    if (row.top < box.top) list.scrollTop += row.top - box.top - row.height;
  }

  new MutationObserver(settle).observe(document.body, { childList: true, subtree: true });
})();
