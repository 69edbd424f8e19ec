/* The address of the page. Each part of the page writes into it what a link must reproduce, under
   keys of its own, and leaves the others alone. */
"use strict";

window.tracelens = window.tracelens || {};

/* Set some keys of the query; null, undefined, '' and [] take a key out, a list sets it often. */
window.tracelens.remember = function (entries) {
  const query = new URLSearchParams(window.location.search);
  for (const [key, value] of Object.entries(entries)) {
    query.delete(key);
    if (value === null || value === undefined || value === "") continue;
    for (const one of Array.isArray(value) ? value : [value]) query.append(key, one);
  }
  const search = `?${query}`;
  if (search !== window.location.search) window.history.replaceState(null, "", search);
};
