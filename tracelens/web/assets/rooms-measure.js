/* How wide the figures of a room are, and which colours the reader's system prefers. */
"use strict";

(function () {
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  let measured = "", waiting = 0;

  function measure() {
    const box = document.getElementById("results");
    if (!box || !box.clientWidth) return void setTimeout(measure, 30);
    const screen = { width: box.clientWidth, scheme: dark.matches ? "dark" : "light" };
    const text = JSON.stringify(screen);
    if (text === measured) return;
    measured = text;
    window.dash_clientside.set_props("screen", { data: screen });
  }

  function soon() {
    clearTimeout(waiting);
    waiting = setTimeout(measure, 60);
  }
  dark.addEventListener("change", measure);
  window.addEventListener("resize", soon);
  measure();
})();
