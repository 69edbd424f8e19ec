/* The classroom: the set in the address, and how wide its figures are. */
"use strict";

window.dash_clientside = window.dash_clientside || {};

(function () {
  window.dash_clientside.classroom = {
    placed: function (set) {
      if (set) {
        window.history.replaceState(null, "", `?${new URLSearchParams({ set: set.word })}`);
      }
      return window.dash_clientside.no_update;
    },
  };
})();
