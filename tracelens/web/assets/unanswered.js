/* Whatever the page asks of its server: where no answer comes, a line says so until one does. */
"use strict";

(function () {
  const SAID = {
    0: "The page is not answered: is `tracelens serve` still running?",
    401: "The page was started anew, or asks for its token: open the address that it printed.",
    403: "The page was started anew, or asks for its token: open the address that it printed.",
    500: "This could not be answered, by a fault of tracelens: where `tracelens serve` runs, a " +
      "line says which.",
    503: "The page has too much to do: try again in a while.",
  };
  const ask = window.fetch;
  let line = null, leaving = false;

  function say(text) {
    if (!text) {
      if (line) line.remove();
      line = null;
      return;
    }
    if (!line) {
      line = document.createElement("p");
      line.className = "unanswered";
      line.setAttribute("role", "alert");
      document.body.prepend(line);
    }
    line.replaceChildren(...text.split("`").map((part, n) => { /* `quoted` are commands */
      if (n % 2 === 0) return part;
      const code = document.createElement("code");
      code.textContent = part;
      return code;
    }));
  }

  window.addEventListener("pagehide", () => { leaving = true; });
  window.addEventListener("pageshow", () => { leaving = false; });

  window.fetch = async function (...what) {
    try {
      const answer = await ask.apply(this, what);
      say(SAID[answer.status]);
      return answer;
    } catch (error) {
      if (!leaving && error.name !== "AbortError") say(SAID[0]);
      throw error;
    }
  };
})();
