"""The events that put a system into the state that it was in at the begin of a cut.

All of them stand at one time. Each rests on a rule of the format:

- Whoever starts runs; the `start` of another takes it off. So `start X` then `wait X` leaves X
  waiting, and `start X` then `preempt X` ready. A task first seen running is in the middle of a
  job, which is not judged: no job begins here that was not released here.
- On a core of which nothing was known the acts stand alone: they prove who ran without telling
  more of the core.
- Locks are taken before anybody waits for them, each by its owner, in the order of the log.
- A priority set while a lock is held is an inherited one, else a new base.
"""

from dataclasses import dataclass, field
from typing import Any

import polars as pl

from tracelens.cutting.declare import Ids
from tracelens.measures.naming import actors, queue_ids, with_name
from tracelens.model.events import NO_TASK
from tracelens.model.results import Timeline

Row = tuple[int, str, str, str | None]
"""(core, event word, subject, value)"""
Fact = dict[str, Any]
"""One row of a table, by column."""


@dataclass
class _Opening:
    """The events of the opening as they are collected; `at_ns` is the time of the first event kept.

    `cores` has the core of each task, `known` the cores of which the occupant was known.
    """

    run: Timeline
    boot: int
    at_ns: int
    ids: Ids
    cores: dict[str, int]
    known: set[int]
    rows: list[Row] = field(default_factory=list)

    def say(self, task: str, word: str, value: str | None = None) -> None:
        core = self.cores.get(task, 0)
        self.rows.append((core, word, self.ids.tasks[task], value))

    def start(self, task: str) -> None:
        if self.cores.get(task, 0) in self.known:
            self.say(task, "start")

    def thing(self, name: str) -> str:
        return self.ids.things.get(name, name)

    def open(self, table: pl.DataFrame, start: str = "start_ns", end: str = "end_ns") -> list[Fact]:
        """The rows that began before the begin and do not end before it, as dicts."""
        here = (pl.col(start) < self.at_ns) & (pl.col(end) >= self.at_ns)
        return table.filter(here).sort(start, maintain_order=True).to_dicts()

    def before(self, *words: str) -> pl.DataFrame:
        """The events of these words before the begin, with the names of their tasks as `task`."""
        events = self.run.log.events.filter(
            (pl.col("boot") == self.boot)
            & (pl.col("time_ns") < self.at_ns)
            & pl.col("event").is_in(words)
        )
        return with_name(events, "subject", actors(self.run), "task")


def opening(run: Timeline, boot: int, at_ns: int, ids: Ids) -> list[Row]:
    """The events for a cut that keeps the events of a boot from the time `at_ns` on."""
    occupancy = run.occupancy.filter((pl.col("start_ns") < at_ns) & (pl.col("end_ns") >= at_ns))
    known = set(occupancy.filter(pl.col("occupant") != "unknown")["core"].to_list())
    here = _Opening(run, boot, at_ns, ids, _cores(run, at_ns), known)
    states = {
        row["task"]: row
        for row in here.open(run.task_states)
        if row["state"] != "unknown" and row["task"] in ids.tasks
    }
    _bases_and_locks(here, states)
    _states(here, states)
    _queues(here)
    _cores_state(here)
    return here.rows


def _cores(run: Timeline, at_ns: int) -> dict[str, int]:
    """Where each task ran last, else runs next, else belongs."""
    runs = run.task_states.filter(pl.col("state") == "running").sort("start_ns")
    found = {task.name: task.core for task in run.system.tasks if task.core is not None}
    for which in (
        runs.filter(pl.col("start_ns") >= at_ns).unique("task", keep="first"),
        runs.filter(pl.col("start_ns") < at_ns).unique("task", keep="last"),
    ):
        found |= dict(zip(which["task"].cast(pl.String), which["core"], strict=True))
    return found


def _bases_and_locks(here: _Opening, states: dict[str, Fact]) -> None:
    """Base priorities; then holds, and priorities set while they last, in the order of the log."""
    holds = [
        hold for hold in here.open(here.run.holds) if hold["task"] in states and hold["complete"]
    ]
    since = {}
    for hold in reversed(holds):
        since[hold["task"]] = hold["start_ns"]
    acts = [(hold["start_ns"], 0, hold["task"], hold) for hold in holds]
    declared = {task.name: task.priority for task in here.run.system.tasks}
    set_ = here.before("priority").select("time_ns", "task", value=pl.col("value").cast(pl.String))
    whole = here.run.holds
    for task, events in set_.group_by("task"):
        name = str(task[0])
        own = whole.filter(pl.col("task") == name)
        times = events["time_ns"].to_list()
        free = [
            own.filter((pl.col("start_ns") <= at) & (pl.col("end_ns") > at)).is_empty()
            for at in times
        ]
        bases = [value for value, is_base in zip(events["value"], free, strict=True) if is_base]
        if bases and name in states and int(bases[-1]) != declared.get(name):
            here.say(name, "priority", bases[-1])
        if name in since and times[-1] >= since[name] and not free[-1]:
            acts.append((times[-1], 1, name, {"value": events["value"][-1]}))
    for _, order, task, what in sorted(acts, key=lambda act: act[:3]):
        if order:
            here.say(task, "priority", what["value"])
            continue
        here.start(task)
        for _ in range(_depth(here, task, what)):
            here.say(task, "lock", here.thing(what["lock"]))


def _depth(here: _Opening, task: str, hold: Fact) -> int:
    """How many times the lock is to be given back until it is free."""
    acts = here.before("lock", "unlock").filter(
        (pl.col("time_ns") >= hold["start_ns"]) & (pl.col("task") == task)
    )
    acts = with_name(acts, "value", here.run.log.declared.locks, "lock")
    words = acts.filter(pl.col("lock") == hold["lock"])["event"].cast(pl.String)
    return max(1, int((words == "lock").sum()) - int((words == "unlock").sum()))


def _states(here: _Opening, states: dict[str, Fact]) -> None:
    """Every task into its state: those that wait for a lock after its owner, who runs last."""
    waits = {wait["task"]: wait for wait in here.open(here.run.lock_waits)}
    activated = {t.name for t in here.run.system.tasks if t.activation == "activate"}
    ended = here.before("suspend", "terminate").unique("task", keep="last", maintain_order=True)
    how = dict(zip(ended["task"], ended["event"].cast(pl.String), strict=True))
    order = ("suspended", "waiting", "ready", "running")

    def turn(task: str) -> tuple[int, int]:
        wait = waits.get(task)
        if states[task]["state"] == "running":
            return 4, 0
        return (3, wait["start_ns"]) if wait else (order.index(states[task]["state"]), 0)

    for task in sorted(states, key=turn):
        state, wait = states[task]["state"], waits.get(task)
        if state == "suspended" and (task in activated or how.get(task) == "suspend"):
            here.say(task, "suspend")
            continue
        here.start(task)
        if wait:
            here.say(task, "request", here.thing(wait["wanted"]))
        if state == "suspended":
            here.say(task, "terminate")
        elif state == "waiting":
            thing = states[task]["waits_for"]
            here.say(task, "wait", None if thing is None else here.thing(thing))
        elif state == "ready":
            here.say(task, "preempt")
    pending = [job["task"] for job in here.open(here.run.jobs, "release_ns")]
    for task in sorted(activated & states.keys()):
        active = states[task]["state"] != "suspended"
        for _ in range(pending.count(task) - active):
            here.say(task, "activate")


def _queues(here: _Opening) -> None:
    levels = here.run.queue_levels.filter(pl.col("at_ns") < here.at_ns)
    core = min(here.known, default=0)
    for queue, changes in levels.group_by("queue", maintain_order=True):
        token = {one.name: one.id for one in queue_ids(here.run)}.get(str(queue[0]), str(queue[0]))
        token = here.ids.things.get(str(queue[0]), token)
        here.rows += [(core, "send", NO_TASK, token)] * (changes["items"][-1] or 0)


def _cores_state(here: _Opening) -> None:
    """Masks, handlers under way from the outermost in, sleep."""
    ids = here.ids
    for mask in here.open(here.run.masks):
        who = ids.tasks.get(mask["who"]) or ids.isrs.get(mask["who"]) or NO_TASK
        here.rows += [(mask["core"], "mask", who, mask["what"])] * _masks(here, mask)
    for isr in here.open(here.run.isr_runs):
        here.rows.append((isr["core"], "enter", ids.isrs[isr["isr"]], None))
    for core in here.open(here.run.occupancy.filter(pl.col("occupant") == "asleep")):
        here.rows.append((core["core"], "sleep", str(core["core"]), None))


def _masks(here: _Opening, mask: Fact) -> int:
    """How many times the core is to be unmasked until it is."""
    acts = here.run.log.events.filter(
        (pl.col("time_ns") >= mask["start_ns"])
        & (pl.col("time_ns") < here.at_ns)
        & (pl.col("core") == mask["core"])
        & (pl.col("value").cast(pl.String) == mask["what"])
    )["event"]
    return max(1, int((acts == "mask").sum()) - int((acts == "unmask").sum()))
