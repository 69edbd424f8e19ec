/* Two runs on one scale: one window for both, moved by keys, buttons, dragging and the wheel. */
"use strict";

window.dash_clientside = window.dash_clientside || {};

(function () {
  const LEAST_NS = 2000;
  const GRAPHS = [["schedule-a", "a"], ["schedule-b", "b"]];
  let view = null, moments = null;

  const plot = (id) => document.querySelector(`#${id} .js-plotly-plot`);

  /* Where the runs begin and end, counted from their moments. */
  const first = () => Math.min(-moments.a, -moments.b);
  const last = () => Math.max(moments.span_a - moments.a, moments.span_b - moments.b);

  function fit(start, end) {
    const most = Math.max(last() - first(), LEAST_NS);
    const width = Math.min(Math.max(Math.round(end - start), LEAST_NS), most);
    const from = Math.min(Math.max(Math.round(start), first()), first() + most - width);
    return { start: from, end: from + width };
  }

  const MOVES = {
    earlier: (a, w) => [a - w / 4, a + w * 3 / 4],
    later: (a, w) => [a + w / 4, a + w * 5 / 4],
    closer: (a, w) => [a + w / 4, a + w * 3 / 4],
    wider: (a, w) => [a - w / 2, a + w * 3 / 2],
    whole: () => [first(), last()],
  };
  const KEYS = {
    ArrowLeft: MOVES.earlier,
    ArrowRight: MOVES.later,
    PageUp: (a, w) => [a - w, a],
    PageDown: (a, w) => [a + w, a + 2 * w],
    Home: (a, w) => [first(), first() + w],
    End: (a, w) => [last() - w, last()],
    "+": MOVES.closer,
    "=": MOVES.closer,
    "-": MOVES.wider,
  };

  /* Both pictures at hand are moved at once; the exact ones follow from the server. */
  function go(to) {
    view = fit(...to);
    for (const [id, side] of GRAPHS) {
      const graph = plot(id);
      const range = [view.start + moments[side], view.end + moments[side]];
      if (graph) window.Plotly.relayout(graph, { "xaxis.range": range });
    }
    return view;
  }

  window.dash_clientside.two = {
    moved: function (a, b, earlier, later, closer, wider, whole, viewNow, momentsNow) {
      const keep = window.dash_clientside.no_update;
      const [id, what] = (window.dash_clientside.callback_context.triggered[0] || { prop_id: "" })
        .prop_id.split(".");
      if (!viewNow || !momentsNow) return keep;
      view = view || viewNow;
      moments = momentsNow;
      if (what === "n_clicks") return go(MOVES[id](view.start, view.end - view.start));
      const change = id === "schedule-a" ? a : b;
      const at = moments[id === "schedule-a" ? "a" : "b"];
      const range = change && (change["xaxis.range"] ||
        [change["xaxis.range[0]"], change["xaxis.range[1]"]]);
      if (!range || range[0] === undefined) return keep;
      const to = fit(range[0] - at, range[1] - at);
      /* A pixel is less than a thousandth: what the other picture echoes is no move. */
      const near = (view.end - view.start) / 10000;
      if (Math.abs(to.start - view.start) <= near && Math.abs(to.end - view.end) <= near) return keep;
      return go([to.start, to.end]);
    },

    placed: function (viewNow, momentsNow, pair) {
      view = viewNow;
      moments = momentsNow;
      if (view && moments && pair) {
        document.title = `${pair.name} – tracelens`;
        const query = new URLSearchParams(pair.query || { a: pair.a, b: pair.b });
        query.set("from", view.start);
        query.set("to", view.end);
        const asked = moments.asked;
        const used = { job: ["task", "job_a", "job_b"], mark: ["mark"] }[asked.at] || [];
        if (used.length) query.set("at", asked.at);
        for (const key of used) if (asked[key]) query.set(key, asked[key]);
        window.history.replaceState(null, "", `?${query}`);
      }
      return window.dash_clientside.no_update;
    },
  };

  document.addEventListener("keydown", function (event) {
    if (event.ctrlKey || event.metaKey || event.altKey || !view || !moments) return;
    if (event.target.closest("input, textarea, select")) return;
    const key = KEYS[event.key];
    if (!key) return;
    event.preventDefault();
    const to = go(key(view.start, view.end - view.start));
    window.dash_clientside.set_props("view", { data: to });
  });
})();
