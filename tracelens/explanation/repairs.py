"""What to change, as far as the ledger supports it: one repair for each part that matters."""

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from tracelens.explanation import advice
from tracelens.explanation.records import (
    Backlog,
    Deadlock,
    Job,
    Repair,
    Row,
    Shorter,
    Wait,
)
from tracelens.explanation.waits import all_waits
from tracelens.measures.contract import of_name
from tracelens.model.results import Timeline
from tracelens.model.system import Task
from tracelens.spans import Windows, clip, union


@dataclass(frozen=True, slots=True)
class Told:
    """What is known of the job when repairs are looked for."""

    run: Timeline
    job: Job
    rows: tuple[Row, ...]
    episodes: pl.DataFrame
    waits: tuple[Wait, ...]
    deadlocks: tuple[Deadlock, ...]
    backlog: Backlog | None
    shorter: Shorter | None


def repairs(told: Told) -> tuple[Repair, ...]:
    """Changes to try on a late job, that of the largest part first.

    Only for parts of the ledger without which the job would have met its deadline: each that
    suffices alone, and the fewest that suffice together. If the job's own execution alone exceeds
    the deadline, that is the one thing to change. A deadlock goes before all else, late or not.
    """
    job, shorter = told.job, told.shorter
    found = [_deadlock(told, cycle) for cycle in told.deadlocks]
    if shorter is None or job.deadline_ns is None:
        return tuple(found)
    own_ns = sum(row.ns for row in told.rows if row.entry == "execution")
    if own_ns > job.deadline_ns:
        return (Repair("own_work", job.task, own_ns, advice.own_work(job, own_ns)),)
    enough = [without.parts[0] for without in shorter.alone if without.early_ns >= 0]
    together = shorter.together.parts if shorter.together else ()
    every = [without.parts[0] for without in shorter.alone]
    interfered = tuple(part for part in every if part.entry == "interference")
    for part in every:
        if part not in enough and part not in together:
            continue
        if part.entry == "interference":
            if not any(repair.kind in ("load", "order") for repair in found):
                found += _interference(told, interfered)
        else:
            found += _repair(told, part)
    return tuple(dict.fromkeys(found))


def _repair(told: Told, part: Row) -> list[Repair]:
    entry = part.entry
    if entry == "inversion":
        return [_protocol(told, part)]
    if entry == "blocked" and part.by is not None and part.via is not None:
        return _section(told, part)
    if entry == "deferred":
        return [_deferred(told, part)]
    if entry == "backlog" and told.backlog is not None:
        first = told.backlog.first
        text = advice.first_job(first, told.backlog.jobs)
        return [Repair("first_job", first.job.task, part.ns, text)]
    if entry in advice.PLAIN_REPAIRS:
        subject = part.by or part.via or told.job.task
        return [Repair(entry, subject, part.ns, advice.plain_repair(entry, subject, part.ns))]
    return []


def _deadlock(told: Told, cycle: Deadlock) -> Repair:
    blocked = sum(row.ns for row in told.rows if row.entry == "blocked")
    return Repair("deadlock", cycle.tasks[0], blocked, advice.break_deadlock(cycle))


def _protocol(told: Told, part: Row) -> Repair:
    """A lock protocol, for every lock of the chain that has none."""
    lock = part.via or ""
    chain = {lock}
    own_ns = 0
    for wait in told.waits:
        if wait.lock == lock:
            chain |= {link.lock for link in all_waits(wait)}
            own_ns = max([own_ns, *(holder.own_ns for holder in wait.holders)])
    protocols = {known.name: known.protocol for known in told.run.system.locks}
    bare = sorted(name for name in chain if protocols.get(name) in (None, "none"))
    third = sorted(
        {row.by for row in told.rows if row.entry == "inversion" and row.via == lock and row.by}
    )
    if bare:
        text = advice.give_protocol(bare, protocols.get(lock), third, own_ns)
    else:
        text = advice.protocol_does_not_act(lock, str(protocols[lock]), third)
    return Repair("protocol", lock, part.ns, text)


def _section(told: Told, part: Row) -> list[Repair]:
    """A shorter critical section; or none that sleeps, if the holder slept while it held."""
    holder, lock = str(part.by), str(part.via)
    if any(holder in cycle.tasks for cycle in told.deadlocks):
        return []
    mine = _when(told, part)
    states = of_name(told.run.task_states, "task", holder)
    states = states.filter(pl.col("state").is_in(["waiting", "suspended"]))
    slept = clip(states.sort("start_ns"), mine)
    slept_ns = int((slept["end_ns"] - slept["start_ns"]).sum())
    if 2 * slept_ns > part.ns:
        for_what = slept["waits_for"].cast(pl.String).drop_nulls().to_list()
        reason = for_what[0] if for_what else None
        return [
            Repair(
                "wait_in_section",
                holder,
                part.ns,
                advice.sleeps_in_section(holder, lock, reason, slept_ns),
            )
        ]
    held = [
        (link.lock, h.own_ns)
        for wait in told.waits
        for link in all_waits(wait)
        for h in link.holders
        if h.task == holder and h.gave_ns > mine[0][0]
    ]
    held_lock, own_ns = max(held, key=lambda found: found[1], default=(lock, 0))
    text = advice.shorten_section(holder, held_lock, part.ns, own_ns)
    return [Repair("section", holder, part.ns, text)]


def _deferred(told: Told, part: Row) -> Repair:
    """Lift a mask, where one was on; else the lower task could not be preempted."""
    by = str(part.by)
    if part.via is None:
        return Repair("preemption", by, part.ns, advice.not_preempted(by, part.ns))
    mine = _when(told, part)
    met = clip(told.run.masks.sort("start_ns"), mine)
    longest = (
        met.with_columns(
            ns=pl.col("end_ns") - pl.col("start_ns"), who=pl.col("who").cast(pl.String)
        )
        .group_by("who", "what")
        .agg(pl.col("ns").sum())
        .sort("ns", "who", "what", descending=[True, False, False])
        .to_dicts()
    )
    who = str(longest[0]["who"] or by) if longest else by
    what = longest[0]["what"] if longest else "irq"
    return Repair("mask", who, part.ns, advice.lift_mask(who, what, by, part.ns))


def _when(told: Told, part: Row) -> Windows:
    """The times of the episodes that a row of the ledger sums up."""
    mine = told.episodes.filter(
        pl.col("entry").eq(part.entry)
        & pl.col("by").eq_missing(part.by)
        & pl.col("via").eq_missing(part.via)
    )
    return union(list(zip(mine["start_ns"], mine["end_ns"], strict=True)))


def _interference(told: Told, parts: Sequence[Row]) -> list[Repair]:
    """The order of priorities, where a task with a longer deadline goes first; else the load."""
    total = sum(part.ns for part in parts)
    known = {task.name: task for task in told.run.system.tasks}
    mine = known.get(told.job.task)
    names = [part.by for part in parts if part.by is not None]
    if told.run.system.policy == "fixed" and mine is not None:
        slower = [name for name in names if _goes_first_but_may_wait(known.get(name), told.job)]
        if slower:
            ns = sum(part.ns for part in parts if part.by in slower)
            early = ns - (told.job.lateness_ns or 0)
            text = advice.reorder(told.job.task, slower, ns, early)
            order = Repair("order", told.job.task, ns, text)
            return [order] if early >= 0 else [order, _load(told, names, total)]
    return [_load(told, names, total)]


def _load(told: Told, names: Sequence[str], ns: int) -> Repair:
    cores = told.run.occupancy["core"].n_unique()
    text = advice.reduce_load(told.job.task, names, ns, told.run.system.policy, cores)
    return Repair("load", told.job.task, ns, text)


def _goes_first_but_may_wait(other: Task | None, job: Job) -> bool:
    """Deadline-monotonic order gives the shorter deadline the higher priority."""
    if other is None or other.deadline_ns is None or job.deadline_ns is None:
        return False
    return other.deadline_ns > job.deadline_ns
