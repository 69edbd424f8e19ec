/* Send a log to the server, say how far it is, and go to its run. */
"use strict";

(function () {
  const POLL_MS = 300;
  const room = document.querySelector(".room");
  const drop = document.getElementById("drop");
  const file = document.getElementById("file");
  const bar = document.getElementById("bar");
  let under_way = false;

  function say(step, problem, hint) {
    document.getElementById("step").textContent = step || "";
    document.getElementById("problem").textContent = problem || "";
    document.getElementById("hint").textContent = hint || "";
    if (!step) bar.hidden = true;
  }

  function fail(problem, hint) {
    under_way = false;
    file.value = ""; /* the same file may be chosen again */
    say("", problem, hint);
  }

  const megabytes = (bytes) => `${(bytes / 1048576).toPrecision(3)} MB`;

  function send(log) {
    if (under_way) return;
    const most = Number(file.dataset.most);
    if (log.size > most) {
      return fail(`${log.name}: the file is too long: found ${megabytes(log.size)}, expected at ` +
        `most ${megabytes(most)}`, "open it from the command line: tracelens serve FILE");
    }
    under_way = true;
    bar.value = 0;
    bar.hidden = false;
    say(`${log.name}: sending`);
    const request = new XMLHttpRequest();
    request.open("POST", "/open/upload");
    request.setRequestHeader("X-Tracelens", "open");
    request.setRequestHeader("X-Log-Name", encodeURIComponent(log.name));
    request.setRequestHeader("Content-Type", "application/octet-stream");
    request.upload.onprogress = (event) => {
      if (event.lengthComputable) bar.value = event.loaded / event.total;
    };
    request.onerror = () => fail(`${log.name}: the server does not answer`,
      "is `tracelens serve` still running, and the file still there?");
    request.onload = () => {
      const told = reply(request.responseText);
      if (!told.ticket) return fail(told.problem, told.hint);
      bar.removeAttribute("value"); /* how long the reading takes is not known */
      ask(log.name, told.ticket);
    };
    request.send(log);
  }

  function reply(text) {
    try {
      return JSON.parse(text);
    } catch {
      return { problem: "the server answered with something else", hint: "load this page again" };
    }
  }

  async function ask(name, ticket) {
    let told;
    try {
      const answer = await fetch(`/open/upload/${encodeURIComponent(ticket)}`);
      told = reply(await answer.text());
    } catch {
      return fail(`${name}: the server does not answer`, "is `tracelens serve` still running?");
    }
    if (told.problem) return fail(told.problem, told.hint);
    if (told.run) return go(name, told.run);
    say(`${name}: ${told.step}`);
    setTimeout(() => ask(name, ticket), POLL_MS);
  }

  const opened = () => JSON.parse(sessionStorage.getItem("opened") || "[]");

  /* Where a run leads: to its page, or to its side of 'two runs'. */
  function place(run) {
    const { side, other, two } = room.dataset;
    const query = new URLSearchParams(side ? { [side]: run } : { run: run });
    if (side && other) query.set(side === "a" ? "b" : "a", other);
    return `${side ? two : "/"}?${query}`;
  }

  /* The browser remembers what it opened, for 'two runs': nobody else is told of it. */
  function go(name, run) {
    const known = [{ run: run, name: name }, ...opened()];
    sessionStorage.setItem("opened", JSON.stringify(known.slice(0, 12)));
    location.assign(place(run));
  }

  function list() {
    const items = opened().map(({ run, name }) => {
      const link = document.createElement("a");
      link.href = place(run);
      link.textContent = name;
      const item = document.createElement("li");
      item.append(link);
      return item;
    });
    document.querySelector("#opened ul").replaceChildren(...items);
    document.getElementById("opened").hidden = !items.length;
  }

  file.addEventListener("change", () => { if (file.files.length) send(file.files[0]); });
  document.addEventListener("dragover", (event) => {
    event.preventDefault();
    drop.classList.add("over");
  });
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) drop.classList.remove("over");
  });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    drop.classList.remove("over");
    const dropped = event.dataTransfer.files;
    if (dropped.length > 1) return fail("found several files, expected one",
      "parts of one log are read in order by: tracelens serve PART1 PART2");
    if (dropped.length) send(dropped[0]);
  });
  /* Back from the run by the browser's own button: the room is as it was before. */
  window.addEventListener("pageshow", () => {
    under_way = false;
    say("");
    file.value = "";
    list();
  });
})();
