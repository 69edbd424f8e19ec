/* Measuring between two moments of the schedule. Each end snaps to what is near it in the lane under
   the pointer, else in any lane: an edge of a block, a release, a deadline, a completion. */
"use strict";

(function () {
  const REACH_PX = 9;

  let on = false;                /* the reader measures, by button */
  let ends = [null, null];       /* each { at (ns), what, lane, free } */
  let active = 0;                /* the end that keys and pointer move */
  let only = null;               /* the lane that keys stay in, null for all */
  let dragging = false;

  const page = () => window.tracelens;
  const box = () => document.querySelector(".schedule .plot");
  const edges = () => page().edges || { at: [], lane: [], what: [], words: [], lanes: [] };

  /* ---- between pixels and moments, by what the figure shows now */
  function scale() {
    const graph = document.querySelector("#schedule .js-plotly-plot");
    if (!graph || !graph._fullLayout || !graph._fullLayout.xaxis) return null;
    const [low, high] = graph._fullLayout.xaxis.range;
    const { left, right } = page().margins;
    const width = box().clientWidth - left - right;
    return {
      x: (at) => left + ((at - low) / (high - low)) * width,
      at: (x) => low + ((x - left) / width) * (high - low),
      ns: (high - low) / width,
      low, high, left, right: left + width,
    };
  }

  function edge(i) {
    const known = edges();
    return {
      at: known.at[i], what: known.words[known.what[i]], lane: known.lanes[known.lane[i]][0],
      free: false,
    };
  }

  /* The edge nearest to a place on the screen, or the moment there if none is near. */
  function snapped(clientX, clientY) {
    const by = scale(), known = edges(), frame = box().getBoundingClientRect();
    const x = clientX - frame.left, y = clientY - frame.top - 6;
    const there = by.at(x);
    let best = -1, distance = Infinity;
    for (let i = 0; i < known.at.length; i++) {
      const away = Math.abs(known.at[i] - there) / by.ns;
      const [, top, bottom] = known.lanes[known.lane[i]];
      const own = y >= top && y <= bottom ? 0 : REACH_PX;
      if (away <= REACH_PX && away + own < distance) {
        best = i;
        distance = away + own;
      }
    }
    if (best >= 0) return edge(best);
    /* Where there is no edge a pixel is all that is known. */
    const step = Math.max(1, 10 ** Math.floor(Math.log10(by.ns)));
    const at = Math.min(Math.max(Math.round(there / step) * step, 0), page().run.span);
    return { at: at, what: "", lane: "", free: true };
  }

  /* ---- in words: exact to the nanosecond, digits in threes */
  function exact(ns) {
    const whole = Math.floor(ns / 1000), rest = ns % 1000;
    const digits = String(whole).replace(/\B(?=(\d{3})+$)/g, "\u202f");
    return `${digits}${rest ? `.${String(rest).padStart(3, "0").replace(/0+$/, "")}` : ""} µs`;
  }

  function moment(end) {
    const where = end.free ? "beside the edges" : `${end.lane}, ${end.what}`;
    return `${where} at ${exact(end.at)}`;
  }

  function said() {
    const [a, b] = ends;
    if (!a) return on ? "Press where to begin, or ← → for the edges" : "";
    if (!b) return `from ${moment(a)}`;
    const lane = only === null ? "" : ` (in ${edges().lanes[only] ? edges().lanes[only][0] : ""})`;
    return `${exact(Math.abs(b.at - a.at))}: from ${moment(a)} to ${moment(b)}${on ? lane : ""}`;
  }

  function draw() {
    const by = scale(), layer = document.querySelector(".measured");
    const told = document.getElementById("measured");
    if (!by || !layer || !told) return;
    const text = said();
    if (told.textContent !== text) told.textContent = text;
    const [from, to, between] = layer.children;
    [from, to].forEach(function (line, i) {
      const end = ends[i];
      const x = end ? by.x(end.at) : -1;
      line.style.display = end && x >= by.left - 1 && x <= by.right + 1 ? "block" : "none";
      line.style.left = `${x}px`;
      line.className = `${i ? "to" : "from"}${on && i === active ? " active" : ""}` +
        `${end && end.free ? " free" : ""}`;
    });
    const [a, b] = ends;
    if (!a || !b) {
      between.style.display = "none";
      return;
    }
    const [low, high] = [a, b].map((end) => by.x(end.at)).sort((p, q) => p - q)
      .map((x) => Math.min(Math.max(x, by.left), by.right));
    between.style.display = high > by.left && low < by.right ? "block" : "none";
    const least = 90; /* the words keep their room where the time between is narrow */
    const middle = Math.min(
      Math.max((low + high) / 2, by.left + least / 2), by.right - least / 2);
    const width = Math.max(high - low, least);
    between.style.left = `${high - low < least ? middle - width / 2 : low}px`;
    between.style.width = `${width}px`;
    between.style.borderTopColor = high - low < least ? "transparent" : "";
    const label = document.createElement("span");
    label.textContent = exact(Math.abs(b.at - a.at));
    between.replaceChildren(label);
  }

  function show() {
    const [a, b] = ends;
    page().remember({ measure: a && b ? `${a.at},${b.at}` : null });
    draw();
  }

  function turn(to) {
    on = to;
    if (!on) ends = [null, null];
    active = 0;
    only = null;
    document.getElementById("measure").setAttribute("aria-pressed", on);
    document.querySelector(".schedule").classList.toggle("measuring", on);
    show();
  }

  /* ---- by pointer: with the button on, press and drag or press twice; else Shift and drag */
  function starts(event) {
    return event.button === 0 && page().run && scale() && (on || event.shiftKey) &&
      event.target.closest(".schedule .plot") &&
      event.clientX - box().getBoundingClientRect().left >= page().margins.left;
  }

  document.addEventListener("mousedown", function (event) {
    if (!starts(event)) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    const end = snapped(event.clientX, event.clientY);
    dragging = { x: event.clientX, second: on && ends[0] !== null && ends[1] === null };
    if (dragging.second) ends = [ends[0], end];
    else ends = [end, null];
    active = dragging.second ? 1 : 0;
    show();
  }, { capture: true });

  document.addEventListener("mousemove", function (event) {
    if (!dragging) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    if (Math.abs(event.clientX - dragging.x) < 4 && !ends[1]) return;
    ends = [ends[0], snapped(event.clientX, event.clientY)];
    active = 1;
    draw();
  }, { capture: true });

  document.addEventListener("mouseup", function (event) {
    if (!dragging) return;
    event.stopImmediatePropagation();
    dragging = false;
    show();
  }, { capture: true });

  /* ---- by key, heard before the schedule hears it */
  function step(by) {
    const known = edges(), shown = scale();
    const from = ends[active] || ends[1 - active] ||
      { at: by > 0 ? shown.low + (shown.high - shown.low) / 3 : shown.high };
    const inside = known.at.map((at, i) => i).filter((i) =>
      known.at[i] >= shown.low && known.at[i] <= shown.high &&
      (only === null || known.lane[i] === only) &&
      (by > 0 ? known.at[i] > from.at : known.at[i] < from.at));
    if (!inside.length) {
      const width = shown.high - shown.low;
      page().go(shown.low + (by * width) / 2, shown.high + (by * width) / 2);
      return;
    }
    ends[active] = edge(by > 0 ? inside[0] : inside[inside.length - 1]);
    show();
  }

  const KEYS = {
    ArrowLeft: () => step(-1),
    ArrowRight: () => step(1),
    ArrowUp: () => stay(-1),
    ArrowDown: () => stay(1),
    Enter: () => {
      if (!ends[active]) return;
      active = 1 - active;
      if (!ends[active]) ends[active] = { ...ends[1 - active] };
      show();
    },
    Escape: () => {
      turn(false);
      document.getElementById("measure").focus();
    },
  };

  /* All lanes, then each by itself. */
  function stay(by) {
    const count = edges().lanes.length + 1;
    const now = only === null ? 0 : only + 1;
    const next = (now + by + count) % count;
    only = next ? next - 1 : null;
    draw();
    const told = document.getElementById("measured");
    const name = only === null ? "all lanes" : edges().lanes[only][0];
    told.textContent = `← → in ${name}. ${said()}`;
  }

  document.addEventListener("keydown", function (event) {
    if (!on || event.ctrlKey || event.metaKey || event.altKey || event.shiftKey) return;
    if (event.target.closest("input, textarea, select, [role=listbox], .chooser, .panel, .findings")) {
      return;
    }
    const key = KEYS[event.key];
    if (!key || (event.key === "Enter" && event.target.closest("button:not(#measure)"))) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    key();
  }, { capture: true });

  document.addEventListener("click", function (event) {
    const button = event.target.closest("#measure");
    if (button && page().run) turn(!on);
  });

  /* ---- what a link measures; and following the figure */
  let followed = null;

  document.addEventListener("tracelens:drawn", function () {
    requestAnimationFrame(function follow() {
      const graph = document.querySelector("#schedule .js-plotly-plot");
      if (!graph || !graph.on || !scale()) return void setTimeout(follow, 50);
      if (followed !== graph) {
        followed = graph;
        graph.on("plotly_afterplot", draw);
        graph.on("plotly_relayouting", draw);
        linked();
      }
      named();
      draw();
    });
  });

  function linked() {
    const text = new URLSearchParams(window.location.search).get("measure") || "";
    const match = /^(\d{1,15}),(\d{1,15})$/.exec(text);
    if (match) ends = [match[1], match[2]].map((at) => ({ at: Number(at), free: true }));
  }

  /* The ends of a link are numbers: what stands there is known when it is drawn. */
  function named() {
    const known = edges();
    ends = ends.map(function (end) {
      if (!end || !end.free) return end;
      const there = known.at.indexOf(end.at);
      return there < 0 ? end : edge(there);
    });
  }
})();
