/* Moving about the schedule. The picture at hand is scaled or shifted at once; the exact one
   follows from the server. All state lives in the page's stores and its address. */
"use strict";

window.dash_clientside = window.dash_clientside || {};

(function () {
  const LEFT_PX = 176, RIGHT_PX = 18; /* margins of the figures over the run's time */
  const LEAST_NS = 2000;
  const QUIET_MS = 90;
  const GRAPHS = ["strip", "schedule", "job-figure", "panel-figure"];

  let run = null, view = null, lastWheel = 0;

  const plot = (id) => document.querySelector(`#${id} .js-plotly-plot`);
  const put = (id, data) => window.dash_clientside.set_props(id, { data: data });

  /* The window [start, end) moved and resized to lie within the run; whole nanoseconds. */
  function fit(start, end) {
    const span = Math.max(run.span, LEAST_NS);
    const width = Math.min(Math.max(Math.round(end - start), LEAST_NS), span);
    const first = Math.min(Math.max(Math.round(start), 0), span - width);
    return { ...view, start: first, end: first + width };
  }

  /* Show another window: what is drawn already at once, the rest when the server has drawn it.
     The view is taken over before that, so that a key held down counts every time. */
  function go(start, end) {
    view = fit(start, end);
    put("view", view);
    const graph = plot("schedule");
    if (graph) window.Plotly.relayout(graph, { "xaxis.range": [view.start, view.end] });
  }

  window.tracelens.go = go;
  window.tracelens.margins = { left: LEFT_PX, right: RIGHT_PX };

  function drawBracket(at) {
    const bracket = document.querySelector(".bracket");
    const strip = document.getElementById("strip");
    if (!bracket || !strip || !run || !at) return;
    const width = strip.clientWidth - LEFT_PX - RIGHT_PX;
    const left = LEFT_PX + (at.start / run.span) * width;
    bracket.style.left = `${left}px`;
    bracket.style.width = `${Math.max(7, ((at.end - at.start) / run.span) * width)}px`;
  }

  window.dash_clientside.page = {
    /* The schedule was dragged, zoomed or moved by a key: remember where it is. */
    moved: function (change, runNow) {
      const keep = window.dash_clientside.no_update;
      if (!change || !view || !runNow) return keep;
      run = runNow;
      const range = change["xaxis.range"] ||
        [change["xaxis.range[0]"], change["xaxis.range[1]"]];
      if (range[0] === undefined) return keep;
      const to = fit(range[0], range[1]);
      return to.start === view.start && to.end === view.end ? keep : to;
    },

    /* The view or the chosen job is another: bracket and address follow. */
    placed: function (viewNow, chosen, runNow) {
      run = runNow;
      if (!viewNow || !run) return window.dash_clientside.no_update;
      document.title = `${run.name} – tracelens`;
      view = viewNow;
      drawBracket(view);
      window.tracelens.run = run;
      window.tracelens.view = view;
      window.tracelens.remember({
        run: run.id, from: view.start, to: view.end, top: view.top || null, job: chosen,
        lanes: view.find, without: view.without, first: view.first,
        order: view.order === "urgency" ? null : view.order, fold: view.fold ? 1 : null,
      });
      return window.dash_clientside.no_update;
    },

    /* The finding that is shown is another, or none. */
    marked: function (finding) {
      if (run) window.tracelens.remember({ finding: finding });
      const shown = document.querySelector(".finding.marked");
      if (shown) shown.scrollIntoView({ block: "nearest" });
      return window.dash_clientside.no_update;
    },

    /* The kind of place to step through is the reader's, or at first the address's. */
    stepping: function (kind) {
      const keep = window.dash_clientside.no_update;
      if (!window.dash_clientside.callback_context.triggered.length) {
        const named = new URLSearchParams(window.location.search).get("step");
        return named === "inversion" ? named : keep;
      }
      window.tracelens.remember({ step: kind === "miss" ? null : kind });
      return keep;
    },

    /* A drawing arrived: show it where the reader is now, and not in the middle of a gesture. */
    shown: function (drawing) {
      return new Promise((resolve) => {
        (function when() {
          const graph = plot("schedule");
          const busy = Date.now() - lastWheel < QUIET_MS || (graph && graph._dragging);
          if (busy) return void setTimeout(when, 20);
          if (view) {
            drawing.layout.xaxis.range = [view.start, view.end];
            if (view.top !== drawing.top) put("view", { ...view, top: drawing.top });
          }
          window.tracelens.edges = drawing.edges;
          document.dispatchEvent(new Event("tracelens:drawn"));
          resolve({ data: drawing.data, layout: drawing.layout });
        })();
      });
    },
  };

  /* ---- keys */
  const KEYS = {
    ArrowLeft: (a, w) => [a - w / 4, a + w * 3 / 4],
    ArrowRight: (a, w) => [a + w / 4, a + w * 5 / 4],
    PageUp: (a, w) => [a - w, a],
    PageDown: (a, w) => [a + w, a + 2 * w],
    Home: (a, w) => [0, w],
    End: (a, w) => [run.span - w, run.span],
    "+": (a, w) => [a + w / 4, a + w * 3 / 4],
    "=": (a, w) => [a + w / 4, a + w * 3 / 4],
    "-": (a, w) => [a - w / 2, a + w * 3 / 2],
  };

  document.addEventListener("keydown", function (event) {
    if (event.ctrlKey || event.metaKey || event.altKey || !view || !run) return;
    if (event.target.closest("input, textarea, select, [role=tab], [role=listbox], .chooser")) return;
    if (event.shiftKey && (event.key === "ArrowLeft" || event.key === "ArrowRight")) {
      event.preventDefault();
      document.getElementById(event.key === "ArrowLeft" ? "previous-place" : "next-place").click();
      return;
    }
    if (event.key === "ArrowUp" || event.key === "ArrowDown") {
      event.preventDefault();
      const top = Math.max(0, view.top + (event.key === "ArrowUp" ? -1 : 1));
      if (top !== view.top) put("view", { ...view, top: top });
      return;
    }
    const key = KEYS[event.key];
    if (!key) return;
    event.preventDefault();
    go(...key(view.start, view.end - view.start));
  });

  document.addEventListener("wheel", () => { lastWheel = Date.now(); },
    { capture: true, passive: true });

  /* ---- the strip: press or drag to bring the window there */
  let dragged = null;

  function aim(event) {
    const box = document.getElementById("strip").getBoundingClientRect();
    const share = (event.clientX - box.left - LEFT_PX) / (box.width - LEFT_PX - RIGHT_PX);
    const width = view.end - view.start;
    const middle = share * run.span;
    dragged = fit(middle - width / 2, middle + width / 2);
    drawBracket(dragged);
  }

  document.addEventListener("pointerdown", function (event) {
    if (!view || event.button !== 0 || !event.target.closest(".strip")) return;
    aim(event);
  });
  document.addEventListener("pointermove", (event) => { if (dragged) aim(event); });
  document.addEventListener("pointercancel", function () {
    dragged = null;
    drawBracket(view);
  });
  document.addEventListener("pointerup", function () {
    if (!dragged) return;
    go(dragged.start, dragged.end);
    dragged = null;
  });

  /* ---- how large the figures are, and which colours the reader's system prefers */
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  let measured = "";

  function measure() {
    const sizes = {};
    for (const id of GRAPHS) {
      const box = document.getElementById(id);
      if (!box || !box.clientWidth || !box.clientHeight) return;
      sizes[id] = [box.clientWidth, box.clientHeight];
    }
    if (window.matchMedia("print").matches) return;
    document.documentElement.style.setProperty("--schedule-height", `${sizes.schedule[1]}px`);
    const screen = { sizes: sizes, scheme: dark.matches ? "dark" : "light" };
    document.documentElement.dataset.scheme = screen.scheme;
    const text = JSON.stringify(screen);
    if (text === measured) return;
    measured = text;
    put("screen", screen);
    drawBracket(view);
  }

  let waiting = 0;
  function soon() {
    clearTimeout(waiting);
    waiting = setTimeout(measure, 60);
  }
  dark.addEventListener("change", measure);
  window.addEventListener("resize", soon);

  /* A figure also changes its size when what stands around it does. */
  const watched = new ResizeObserver(soon);

  (function begin() {
    if (document.getElementById("panel-figure")) measure();
    if (!measured) return void setTimeout(begin, 30);
    for (const id of GRAPHS) watched.observe(document.getElementById(id));
  })();
})();
