"""Locks that are held where they should not be: across a wait, or in an order that can deadlock."""

from collections import deque
from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import polars as pl

from tracelens.findings import wording_ahead as wording
from tracelens.findings.evidence import Evidence
from tracelens.findings.growth import least_deadline
from tracelens.measures.contract import names_of, of_name
from tracelens.measures.parts import by_name
from tracelens.model.results import Finding
from tracelens.spans import LENGTH, SpentTime

Edge = tuple[str, str]
"""(lock held, lock taken meanwhile)."""

Times = npt.NDArray[np.int64]

MOST_PAIRS = 1_000_000
MOST_ORDERS = 4096
"""Far above any program's: they bound the work on a log made to hold thousands of locks at once."""


def held_asleep(evidence: Evidence) -> Iterator[Finding]:
    """Locks whose holder waits for something that is not a lock; the longest such wait first.

    A warning from `hold_up_share` of the least deadline of the lock's other users on, else a note.
    """
    run = evidence.analysis.timeline
    holds = run.holds.drop_nulls("task")
    pairs = holds.select(pl.col("lock", "task").cast(pl.String)).unique(maintain_order=True)
    # Whoever waits within a hold executes for less than the hold lasts.
    longer = by_name(holds.filter(LENGTH.gt(pl.col("own_ns"))), "task")
    locks = {lock.name for lock in run.system.locks}.intersection(
        names_of(run.task_states["waits_for"])
    )
    holders = set(longer).intersection(names_of(run.task_states["task"]))
    for_lock = pl.col("waits_for").is_in(sorted(locks)).fill_null(False)
    slept = run.task_states.filter(
        pl.col("state") == "waiting", pl.col("task").is_in(sorted(holders)), ~for_lock
    )
    found = []
    for task, of_task in longer.items():
        spent = SpentTime.of(of_name(slept, "task", task).select("start_ns", "end_ns"))
        asleep = spent.between(of_task["start_ns"], of_task["end_ns"]) if len(spent.starts) else 0
        told = of_task.with_columns(pl.col("lock").cast(pl.String), asleep=asleep)
        found.append(
            told.filter(pl.col("asleep") > 0)
            .group_by("lock", maintain_order=True)
            .agg(
                task=pl.lit(task),
                times=pl.len(),
                asleep=pl.col("asleep").max(),
                at_ns=pl.col("start_ns").get(pl.col("asleep").arg_max()),
            )
        )
    rows = [row for frame in found for row in frame.to_dicts()]
    for row in sorted(rows, key=lambda one: -one["asleep"]):
        lock, task = row["lock"], row["task"]
        others = pairs.filter((pl.col("lock") == lock) & (pl.col("task") != task))["task"]
        limit_ns = least_deadline(evidence.analysis, others.to_list())
        share = evidence.limits.hold_up_share
        long = limit_ns is not None and row["asleep"] >= share * limit_ns
        yield Finding(
            severity="warning" if long else "note",
            subject=lock,
            text=wording.held_asleep(lock, task, row["times"], row["asleep"], row["at_ns"]),
            at_ns=row["at_ns"],
            kind="held_asleep",
            numbers={"times": row["times"], "asleep_ns": row["asleep"]},
        )


def lock_orders(evidence: Evidence) -> Iterator[Finding]:
    """Locks that different tasks take in circular order, so that they could deadlock.

    A cycle in the graph of 'held while taken' is necessary for a deadlock by locks (Coffman,
    Elphick and Shoshani, "System Deadlocks", Computing Surveys 3, 1971; from memory). Of
    locks that all have immediate ceilings none is told: then no task runs that could close the
    cycle, on one core. Cycles that did close are left to `deadlocks`.
    """
    run = evidence.analysis.timeline
    ceilings = {lock.name for lock in run.system.locks if lock.protocol == "ceiling"}
    happened = [set(locks) for locks in run.deadlocks["locks"].to_list()]
    edges = _nested(run.holds.drop_nulls("task"))
    for cycle in _cycles(edges):
        takers = {task for edge in cycle for task in edges[edge]}
        locks = [held for held, _ in cycle]
        if len(takers) < 2 or set(locks) <= ceilings or set(locks) in happened:
            continue
        told = [(held, taken, min(edges[held, taken])) for held, taken in cycle]
        at_ns = max(min(edges[edge].values()) for edge in cycle)
        yield Finding(
            severity="warning",
            subject=locks[0],
            text=wording.lock_order(told),
            at_ns=at_ns,
            kind="lock_order",
            numbers={"locks": len(locks)},
        )


def _nested(holds: pl.DataFrame) -> dict[Edge, dict[str, int]]:
    """(held, taken) → task that did so → when first; `holds` by tasks.

    Where they are too many, those that are taken first within a hold are kept: a lock between two
    others makes the order of these by itself.
    """
    of_tasks = by_name(holds.filter(LENGTH > 0).sort("start_ns"), "task")
    found = {
        task: _within(rows["start_ns"].to_numpy(), rows["end_ns"].to_numpy())
        for task, rows in of_tasks.items()
        if rows["lock"].n_unique() > 1
    }
    many = sum(int(count.sum()) for _, count in found.values()) > MOST_PAIRS
    limit = max(1, MOST_PAIRS // len(holds)) if many else MOST_PAIRS
    pairs = [
        _pairs(of_tasks[task], first, count.clip(max=limit))
        for task, (first, count) in found.items()
    ]
    edges: dict[Edge, dict[str, int]] = {}
    if not pairs:
        return edges
    orders = pl.concat(pairs).sort("place", "at_ns").head(MOST_ORDERS)
    names = (orders[column].cast(pl.String) for column in ("task", "held", "taken"))
    for task, held, taken, at_ns in sorted(zip(*names, orders["at_ns"], strict=True)):
        edges.setdefault((held, taken), {})[task] = at_ns
    return edges


def _within(starts: Times, ends: Times) -> tuple[Times, Times]:
    """Of each hold in order of `starts`: the first one that begins within it, and how many do.

    One that begins at the same instant does not begin within it.
    """
    first = np.searchsorted(starts, starts, side="right")
    return first, (np.searchsorted(starts, ends, side="left") - first).clip(min=0)


def _pairs(holds: pl.DataFrame, first: Times, count: Times) -> pl.DataFrame:
    """Columns task, held, taken, place, at_ns: what a task took while it held another lock.

    Each once: when first, and at which place among what was taken within the same hold.
    """
    outer = np.repeat(np.arange(len(holds)), count)
    place = np.arange(len(outer)) - np.repeat(np.cumsum(count) - count, count)
    inner = first[outer] + place
    held = holds["lock"].gather(outer)
    return (
        holds[inner]
        .select("task", held=held, taken="lock", place=place, at_ns="start_ns")
        .filter(pl.col("held") != pl.col("taken"))
        .group_by("task", "held", "taken")
        .agg(pl.col("place", "at_ns").min())
    )


def _cycles(edges: dict[Edge, dict[str, int]]) -> Iterator[list[Edge]]:
    """Simple cycles, each once: through each lock the shortest that was not told before it."""
    after: dict[str, list[str]] = {}
    for held, taken in sorted(edges):
        after.setdefault(held, []).append(taken)
    told: set[frozenset[str]] = set()
    for first in sorted(after):
        for path in _back(first, after):
            if frozenset(path) not in told:
                told.add(frozenset(path))
                yield list(pairwise([*path, first]))
                break


def _back(first: str, after: dict[str, list[str]]) -> Iterator[list[str]]:
    """The locks of cycles through `first`, from it on, the shortest first: each way back once."""
    reached_from = {first: first}
    queue = deque([first])
    while queue:
        held = queue.popleft()
        for taken in after.get(held, []):
            if taken == first:
                path = [held]
                while path[-1] != first:
                    path.append(reached_from[path[-1]])
                yield path[::-1]
            elif taken not in reached_from:
                reached_from[taken] = held
                queue.append(taken)
