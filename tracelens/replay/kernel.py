"""What a record shows of its kernel: switching costs, protocols, slices, who can run where."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import polars as pl

from tracelens.engine.core_time import BLOCKED, LEFT, TAKEN
from tracelens.engine.work import RUN
from tracelens.model.events import CODE
from tracelens.model.results import Timeline
from tracelens.model.system import System
from tracelens.numbers import count, listing
from tracelens.replay import turns
from tracelens.replay.extract import Extracted
from tracelens.replay.plan import Runs
from tracelens.replay.records import (
    R_CUT,
    R_ENTER,
    R_LATE,
    R_LEAVE,
    R_LOCK,
    R_PREEMPTED,
    R_RAISED,
    R_RECEIVE,
    R_START,
    R_UNKNOWN,
    R_UNLOCK,
    Records,
)

MOST: Final = 0.5
LONGEST_SWITCH: Final = 3
"""A stretch before a start is switching if it is no longer than so many usual switches."""

LOOK_BACK: Final = 8
"""A job's begin lies at most so many acts of one instant back."""

ENOUGH_STARTS: Final = 10
LEAST_URGENT: Final = 1 << 40
"""Key of handlers that stand for tasks that cannot be ranked."""


@dataclass(frozen=True, slots=True)
class Observed:
    """What a record shows of its kernel. See `Plan` for most; `keys` are by handler."""

    system: System
    switch_cap: int
    usual_cost_ns: int
    original_ceiling: frozenset[str]
    idle: tuple[str | None, ...]
    homes: list[tuple[int, bool]]
    keys: list[int]
    preemptive: bool
    turns: turns.Turns
    sleeps: bool
    notes: tuple[str, ...]


def observe(x: Extracted, run: Timeline) -> Observed:
    """Everything that a record shows of its kernel."""
    r = x.records
    usual = _usual_switch(x)
    cap = LONGEST_SWITCH * usual
    rules = turns.observe(x, usual)
    system, inferred = _protocols(x)
    original = frozenset(
        lock.name for lock in system.locks if lock.protocol == "ceiling" and lock.ceiling is None
    )
    notes = [*inferred]
    unranked = [
        task.name
        for task, idle in zip(system.tasks, x.about.idle, strict=True)
        if task.priority is None and not idle and system.policy != "edf"
    ]
    if unranked:
        notes.append(f"kept at the time of the record, for want of a priority: {listing(unranked)}")
    if _nested(r) and not (r.code == R_RAISED).any():
        notes.append(
            "tasks hold several locks at once, and the record does not show whether a raised "
            "holder falls back at each unlock or with the last one; at each is assumed"
        )
    cuts = int((r.code == R_CUT).sum())
    if cuts:
        notes.append(
            f"unknown time is left out ({count(cuts, 'time')}); the replay begins anew after it"
        )
    return Observed(
        system=system,
        switch_cap=cap,
        usual_cost_ns=usual,
        original_ceiling=original,
        idle=_idle(x),
        homes=_homes(x),
        keys=_urgency(x),
        preemptive=_preemptive(x, run),
        turns=rules,
        sleeps=bool((x.events.kinds == CODE["sleep"]).any()),
        notes=tuple(notes),
    )


def _nested(r: Records) -> bool:
    """Whether a task ever holds two locks at once."""
    steps = np.where(r.code == R_LOCK, 1, np.where(r.code == R_UNLOCK, -1, 0))
    streams = np.unique(r.stream[steps != 0]).tolist()
    return any(int(np.cumsum(steps[r.stream == one]).max(initial=0)) > 1 for one in streams)


def _usual_switch(x: Extracted) -> int:
    """What a switch usually costs: after a wait; or if the log shows none of that, out of idle."""
    r = x.records
    starts = np.flatnonzero((r.code == R_START) & (r.arg >= 0))
    paid = r.arg[starts]
    left = paid[r.more[starts] == LEFT]
    if len(left) and (left > 0).mean() > MOST:
        return int(np.median(left[left > 0]))
    idle = np.flatnonzero(x.about.idle)
    before = np.maximum(starts - 1, 0)
    woke = (r.code[before] == R_PREEMPTED) & np.isin(r.stream[before], idle)
    return int(np.median(paid[woke])) if woke.any() else 0


def costs(x: Extracted, first: int, last: int, cap: int) -> dict[tuple[str, int], list[int]]:
    """Costs of switches, as observed in the records [first, last), in order.

    By who starts and how the core was left. What took the core from a task later than `cap` after
    the last event there cost nothing that shows.
    """
    r = x.records
    rows = first + np.flatnonzero((r.code[first:last] == R_START) & (r.arg[first:last] >= 0))
    # What starts with the record, or says at once that it waits, was not switched to.
    rows = rows[(r.time[rows] > r.time[first]) | (r.arg[rows] > 0)] if len(rows) else rows
    how = r.more[rows]
    cost = np.where((how == TAKEN) & (r.arg[rows] > cap), 0, r.arg[rows])
    found: dict[tuple[str, int], list[int]] = {}
    for stream in np.unique(r.stream[rows]).tolist():
        mine = r.stream[rows] == stream
        for kind in (LEFT, TAKEN, BLOCKED):
            listed = cost[mine & (how == kind)].tolist()
            if listed:
                found[x.system.tasks[stream].name, kind] = listed
    return found


def _protocols(x: Extracted) -> tuple[System, list[str]]:
    """The locks with the protocols that the record shows where none is declared."""
    r, system = x.records, x.system
    raised = np.flatnonzero(r.code == R_RAISED)
    if not len(raised):
        return system, []
    turn = -1 if system.order == "lower_first" else 1
    ceilings: dict[int, int] = {}
    inherits = False
    for row in raised.tolist():
        before = row - 1
        mine = before >= 0 and r.stream[before] == r.stream[row] and r.code[before] == R_LOCK
        if mine:
            ceilings[int(r.arg[before])] = turn * int(r.arg[row])
        else:
            inherits = True
    locks, said = [], []
    for number, lock in enumerate(system.locks):
        if lock.protocol is None and number in ceilings:
            lock = replace(lock, protocol="ceiling", ceiling=ceilings[number])
            said.append(lock.name)
        elif lock.protocol is None and inherits:
            lock = replace(lock, protocol="inherit")
            said.append(lock.name)
        locks.append(lock)
    notes = []
    if said:
        notes.append(
            f"the log declares no protocol of {', '.join(said)}; the priorities in it show that "
            "holders are raised, and so they are here"
        )
    return replace(system, locks=tuple(locks)), notes


def openings(x: Extracted, first: int, last: int) -> tuple[int, ...]:
    """How long after the begin of a stretch each core's tasks run at first, handlers not counted.

    0 where they are known to run from its begin.
    """
    r = x.records
    opens = [0] * len(x.system.cores)
    for row in (first + np.flatnonzero(r.code[first:last] == R_UNKNOWN)).tolist():
        core = int(r.arg[row])
        opens[core] = int(r.time[row] - r.time[first]) - _handled(x, first, row, core)
    return tuple(opens)


def _handled(x: Extracted, first: int, last: int, core: int) -> int:
    """Time that handlers had a core, in the records [first, last)."""
    r = x.records
    here = x.events.cores[r.row[first:last]] == core
    rows = first + np.flatnonzero(here & np.isin(r.code[first:last], (R_ENTER, R_LEAVE)))
    depth = total = 0
    for row in rows.tolist():  # few rows: before the scheduler starts
        if r.code[row] == R_ENTER:
            total -= int(r.time[row]) if depth == 0 else 0
            depth += 1
        elif depth:
            depth -= 1
            total += int(r.time[row]) if depth == 0 else 0
    return total + (int(r.time[last]) if depth else 0)


def _idle(x: Extracted) -> tuple[str | None, ...]:
    """The idle task of each core; None where the record has none."""
    r = x.records
    found: list[str | None] = [None] * len(x.system.cores)
    core_of = {core.id: number for number, core in enumerate(x.system.cores)}
    for number, idle in enumerate(x.about.idle):
        if not idle:
            continue
        task = x.system.tasks[number]
        mine = r.row[(r.stream == number) & (r.code == R_START)]
        cores = set(x.events.cores[mine].tolist())
        if task.core is not None:
            cores.add(core_of.get(task.core, 0))
        for core in cores or ({0} if len(found) == 1 else set()):
            found[core] = task.name
    return tuple(found)


def _homes(x: Extracted) -> list[tuple[int, bool]]:
    """Of each task the core it runs on, or first ran on, and whether it stays there."""
    r = x.records
    core_of = {core.id: number for number, core in enumerate(x.system.cores)}
    homes = []
    for number, task in enumerate(x.system.tasks):
        cores = x.events.cores[r.row[(r.stream == number) & (r.code == R_START)]]
        first = int(cores[0]) if len(cores) else 0
        if task.core is not None:
            homes.append((core_of.get(task.core, first), True))
        else:
            stays = len(cores) >= ENOUGH_STARTS and bool((cores == cores[0]).all())
            homes.append((first, stays or len(core_of) == 1))
    return homes


def _urgency(x: Extracted) -> list[int]:
    """Keys of the handlers: as declared, or such that the nesting in the record is possible."""
    r, system = x.records, x.system
    tasks, count = len(system.tasks), len(system.isrs)
    sign = -1 if system.order != "lower_first" else 1
    nested = (r.code == R_ENTER) & (r.more >= tasks)
    pairs = {
        (below - tasks, above - tasks)
        for below, above in set(
            zip(r.more[nested].tolist(), r.stream[nested].tolist(), strict=True)
        )
    }
    keys = [None if isr.priority is None else sign * isr.priority for isr in system.isrs]
    known = [key for key in keys if key is not None]
    if len(known) == count and all(known[above] < known[below] for below, above in pairs):
        return known
    level = [0] * count
    for _ in range(count):
        for below, above in pairs:
            level[above] = max(level[above], min(count, level[below] + 1))
    return [-one for one in level]


def _preemptive(x: Extracted, run: Timeline) -> bool:
    """False if lower tasks kept the core from more urgent ones, and lost it between jobs only."""
    r = x.records
    idle = np.array(x.about.idle, bool)
    order = np.argsort(r.stream, kind="stable")
    gone = (r.code[order] == R_PREEMPTED) & (r.stream[order] >= 0)
    gone[gone] &= ~idle[r.stream[order[gone]]]
    between = np.zeros(len(order), bool)
    for back in range(1, LOOK_BACK):
        before = np.roll(order, back)
        between |= (
            np.isin(r.code[before], (R_LATE, R_RECEIVE))
            & (r.stream[before] == r.stream[order])
            & (r.time[before] == r.time[order])
        )
    if (gone & ~between).any():
        return True
    return run.episodes.filter(pl.col("entry") == "deferred").is_empty()


def opaque_runs(
    x: Extracted, run: Timeline, ranked: list[bool], begin_ns: int, end_ns: int
) -> list[Runs]:
    """The time of tasks that cannot be ranked, in [begin, end), as handlers' runs."""
    found: list[Runs] = []
    core_of = {core.id: number for number, core in enumerate(x.system.cores)}
    for task, ok in zip(x.system.tasks, ranked, strict=True):
        if ok:
            continue
        rows = run.occupancy.filter(
            pl.col("who") == task.name, pl.col("start_ns") >= begin_ns, pl.col("end_ns") <= end_ns
        ).sort("start_ns")
        for core in rows["core"].unique(maintain_order=True).to_list():
            mine = rows.filter(pl.col("core") == core)
            starts = mine["start_ns"].to_list()
            lengths = (mine["end_ns"] - mine["start_ns"]).to_list()
            bodies = [((RUN, -1, length),) for length in lengths]
            found.append(Runs(task.name, core_of[core], starts, list(bodies), key=LEAST_URGENT))
    return found
