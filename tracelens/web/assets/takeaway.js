/* A figure as a picture on the reader's disk, made here of what is on the screen. */
"use strict";

(function () {
  /* As `file_name` of takeaway.py. */
  function fileName(run, what, view, kind) {
    const stem = run.name.replace(/\.[A-Za-z0-9]{1,5}$/, "") || "run";
    const name = [stem, what, `${view.start / 1000}us`, `${view.end / 1000}us`].join("-");
    return `${name.replace(/[^A-Za-z0-9._-]+/g, "_")}.${kind}`;
  }

  document.addEventListener("click", async function (event) {
    const button = event.target.closest("[data-picture]");
    if (!button) return;
    const { run, view } = window.tracelens || {};
    const { picture: kind, graph, what } = button.dataset;
    const shown = document.querySelector(`#${graph} .js-plotly-plot`);
    const named = shown && shown.layout.meta && shown.layout.meta.file;
    if (!shown || (!named && (!run || !view))) return;
    /* The page's paper shows through a figure; a picture stands alone. */
    const paper = getComputedStyle(document.body).backgroundColor;
    const size = { width: shown.clientWidth, height: shown.clientHeight };
    const layout = { ...shown.layout, paper_bgcolor: paper, autosize: false, ...size };
    const source = await window.Plotly.toImage(
      { data: shown.data, layout: layout }, { format: kind, scale: kind === "png" ? 2 : 1, ...size });
    const link = document.createElement("a");
    link.href = source;
    const told = shown.layout.meta || { what, ...view }; /* what a figure says that it shows */
    link.download = named ? `${named}.${kind}` : fileName(run, told.what, told, kind);
    link.click();
  });
})();
