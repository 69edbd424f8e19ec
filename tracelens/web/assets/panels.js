/* The tables of the panels: a number leads to its place, a head sorts, arrow keys go from cell to
   cell. The room that the panel takes. All numbers come from the server as they are. */
"use strict";

window.dash_clientside = window.dash_clientside || {};

(function () {
  let clicks = 0;
  const put = (id, data) => window.dash_clientside.set_props(id, { data: data });
  const panel = () => document.querySelector(".panel");

  window.dash_clientside.panels = {
    /* A table arrived: one of its numbers can be reached by the Tab key. */
    shown: function () {
      requestAnimationFrame(function () {
        const first = document.querySelector("#panel-table [data-place]");
        if (first) first.tabIndex = 0;
        const scroll = document.querySelector("#panel-table .scroll");
        if (scroll && !first) scroll.tabIndex = 0;
      });
      return window.dash_clientside.no_update;
    },
  };

  /* The address names the panel, what it is about and its windows. */
  window.dash_clientside.panels.remembered = function (panel, of, windows) {
    if (window.tracelens.run) window.tracelens.remember({ panel: panel, of: of, windows: windows });
    return window.dash_clientside.no_update;
  };

  document.addEventListener("click", function (event) {
    const place = event.target.closest("[data-place]");
    if (place) {
      enlarge(false);
      put("panel-place", { place: place.dataset.place, click: ++clicks });
    }
    const head = event.target.closest(".panel [data-sort]");
    if (head) {
      const tab = document.querySelector("#panels input:checked");
      put("panel-order", {
        panel: tab ? tab.value : null,
        column: head.dataset.sort,
        down: head.dataset.down === "true",
      });
    }
    if (event.target.closest("#enlarge")) enlarge(!panel().classList.contains("large"));
  });

  /* ---- the panel takes the room of the schedule and of 'this job', and gives it back */
  function enlarge(large) {
    const button = document.getElementById("enlarge");
    if (!panel() || !button || panel().classList.contains("large") === large) return;
    panel().classList.toggle("large", large);
    button.textContent = large ? "back" : "enlarge";
    button.setAttribute("aria-pressed", large);
    for (const covered of document.querySelectorAll(".schedule, .job")) covered.inert = large;
    window.dispatchEvent(new Event("resize"));
  }

  /* ---- keys, heard before the schedule hears them */
  const STEPS = { ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1] };
  const SCROLLS = ["ArrowUp", "ArrowDown", "ArrowLeft", "ArrowRight", "Home", "End", "PageUp",
    "PageDown"];

  function next(cell, key) {
    const rows = [...cell.closest("tbody").rows];
    const [down, right] = STEPS[key] || [0, 0];
    let row = rows.indexOf(cell.parentElement), column = cell.cellIndex;
    if (key === "Home" || key === "End") {
      row = key === "Home" ? -1 : rows.length;
    }
    const step = key === "Home" ? [1, 0] : key === "End" ? [-1, 0] : [down, right];
    for (;;) {
      row += step[0];
      column += step[1];
      const there = rows[row] && rows[row].cells[column];
      if (!there) return null;
      const button = there.querySelector("[data-place]");
      if (button) return button;
    }
  }

  document.addEventListener("keydown", function (event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const large = panel() && panel().classList.contains("large");
    const choosing = event.target.closest(".chooser, .dash-dropdown-content, [role=listbox]");
    if (event.key === "Escape" && large && !choosing) {
      enlarge(false);
      document.getElementById("enlarge").focus();
    }
    if (!event.target.closest("#panel-table") || !SCROLLS.includes(event.key)) return;
    event.stopPropagation();
    const cell = event.target.closest("td");
    if (!cell || event.key.startsWith("Page")) return;
    const to = next(cell, event.key);
    if (!to) return;
    event.preventDefault();
    event.target.tabIndex = -1;
    to.tabIndex = 0;
    to.focus();
  }, { capture: true });
})();
