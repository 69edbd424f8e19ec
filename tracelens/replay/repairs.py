"""The repairs that make sense for a run: what a search tries."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import polars as pl

from tracelens.analysis import analyse
from tracelens.model.results import Timeline
from tracelens.model.system import PROTOCOLS, Task
from tracelens.observed import observe
from tracelens.replay.change import locks_taken
from tracelens.replay.changes import Change, Protocol
from tracelens.replay.plan import Plan
from tracelens.theory.assignment import orders

HALF: Final = 0.5
MOST_SECTIONS: Final = 3
MOST_MOVES: Final = 6

# Sizes: how much of the system a repair touches. A protocol is a word in one place; a priority a
# number; less work in a section or another offset is a change of code; a core moves a whole task.
_SIZES: Final = {
    "protocol": 1,
    "priority": 2,
    "offset": 3,
    "section": 4,
    "core": 5,
    "clock": 8,
}


@dataclass(frozen=True, slots=True)
class Repair:
    """Changes that belong together, and in a few words what they amount to."""

    what: str
    changes: tuple[Change, ...]

    @property
    def size(self) -> int:
        """How large a change it is; smaller is easier to make."""
        return sum(_SIZES.get(change.kind, 8) for change in self.changes)


def repairs(run: Timeline, plan: Plan) -> list[Repair]:
    """The repairs to try on a run, of each kind that applies.

    A protocol on each lock that a task waited for, and on all of them; the deadline-monotonic
    order and Audsley's; half of the critical sections that kept others waiting longest; another
    core for a late task or one in its way; releases that coincide spread apart.
    """
    tasks = [task for task in run.system.tasks if task.name in plan.stretches[0].scripts]
    found = [
        *_protocols(run, plan),
        *_orders(run, tasks),
        *_sections(run, plan),
        *_moves(run, plan, tasks),
        *_spread(plan, tasks),
    ]
    seen: dict[frozenset[Change], Repair] = {}
    for repair in found:
        seen.setdefault(frozenset(repair.changes), repair)
    return list(seen.values())


def _protocols(run: Timeline, plan: Plan) -> Iterator[Repair]:
    waited = run.lock_waits["lock"].cast(pl.String).unique(maintain_order=True).to_list()
    told = {lock.name: lock.protocol for lock in plan.system.locks}
    contended = [lock for lock in waited if lock in told]
    protocols: tuple[Protocol, ...] = ("inherit", "ceiling")
    for protocol in protocols:
        changes = [
            Change("protocol", lock, protocol=protocol)
            for lock in contended
            if told[lock] != protocol
        ]
        for change in changes:
            yield Repair(f"{change.subject}: {PROTOCOLS[protocol]}", (change,))
        if len(changes) > 1:
            yield Repair(f"every contended lock: {PROTOCOLS[protocol]}", tuple(changes))


def _orders(run: Timeline, tasks: Sequence[Task]) -> Iterator[Repair]:
    """Other orders of the same priorities, core by core."""
    if run.system.policy != "fixed" or any(task.priority is None for task in tasks):
        return
    by_name = {task.name: task for task in tasks}
    higher = run.system.order != "lower_first"
    workload = observe(analyse(run)).workload
    for core in range(max(1, len(run.system.cores))):
        tried = {order.kind: order.names for order in orders(workload, core)}
        if not tried and core == 0:
            deadline = {task.name: task.deadline_ns or 1 << 62 for task in tasks}
            names = sorted(by_name, key=lambda name: (deadline[name], -_level(by_name, name)))
            tried = {"deadline-monotonic": tuple(names)}
        for kind in ("deadline-monotonic", "optimal"):
            names = [name for name in tried.get(kind, ()) if name in by_name]
            numbers = sorted((by_name[name].priority or 0 for name in names), reverse=higher)
            changes = tuple(
                Change("priority", name, value=number)
                for name, number in zip(names, numbers, strict=True)
                if by_name[name].priority != number
            )
            if changes:
                said = "Audsley's order" if kind == "optimal" else "deadline-monotonic order"
                yield Repair(said, changes)


def _level(by_name: dict[str, Task], name: str) -> int:
    return by_name[name].priority or 0


def _sections(run: Timeline, plan: Plan) -> Iterator[Repair]:
    """The holder's part of the waits for a lock: the sections behind most of it, halved."""
    blocked = (
        run.episodes.lazy()
        .filter(pl.col("entry") == "blocked")
        .group_by(pl.col("by").cast(pl.String), pl.col("via").cast(pl.String))
        .agg(ns=(pl.col("end_ns") - pl.col("start_ns")).sum())
        .sort("ns", "by", "via", descending=[True, False, False])
        .collect()
    )
    taken = locks_taken(plan)
    tried = 0
    for task, lock, _ in zip(*blocked.to_dict(as_series=False).values(), strict=True):
        if tried < MOST_SECTIONS and lock in taken.get(task, ()):
            tried += 1
            change = Change("section", task, lock=lock, factor=HALF)
            yield Repair(f"half the section of {task} under {lock}", (change,))


def _moves(run: Timeline, plan: Plan, tasks: Sequence[Task]) -> Iterator[Repair]:
    """Another core for the late tasks, and for those that took their time."""
    cores = [core.id for core in plan.system.cores]
    if len(cores) < 2:
        return
    late = run.jobs.filter("late")
    in_the_way = (
        run.episodes.lazy()
        .filter(
            pl.col("entry").is_in(["interference", "inversion", "deferred"]),
            pl.col("job_id").is_in(late["job_id"].implode()),
        )
        .group_by(pl.col("by").cast(pl.String))
        .agg(ns=(pl.col("end_ns") - pl.col("start_ns")).sum())
        .sort("ns", "by", descending=[True, False])
        .collect()
    )
    names = [*late["task"].cast(pl.String).unique(maintain_order=True), *in_the_way["by"]]
    known = {task.name for task in tasks}
    scripts = plan.stretches[0].scripts
    moves = [
        Repair(f"{name} to core {core}", (Change("core", name, value=core),))
        for name in dict.fromkeys(names)
        if name in known
        for number, core in enumerate(cores)
        if number != scripts[name].core
    ]
    yield from moves[:MOST_MOVES]


def _spread(plan: Plan, tasks: Sequence[Task]) -> Iterator[Repair]:
    """Periodic tasks that are released together, each a part of the shortest period later."""
    timed = [task for task in tasks if task.period_ns and task.activation != "activate"]
    phases: dict[int, list[Task]] = {}
    for task in timed:
        script = plan.stretches[0].scripts[task.name]
        if script.untils and script.untils[0].due < 1 << 60:
            shortest = min(one.period_ns or 0 for one in timed)
            phases.setdefault(script.untils[0].due % shortest, []).append(task)
    changes = []
    for together in phases.values():
        for place, task in enumerate(sorted(together, key=lambda one: one.period_ns or 0)):
            shortest = min(one.period_ns or 0 for one in together)
            if place:
                later = place * shortest // len(together)
                changes.append(Change("offset", task.name, value=later))
    if changes:
        yield Repair("releases spread apart", tuple(changes))
