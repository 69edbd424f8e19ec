"""Locks that are held where they should not be: across a wait, or in an order that can deadlock."""

from collections.abc import Iterator

import numpy as np
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
    edges = _nested(evidence)
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


def _nested(evidence: Evidence) -> dict[Edge, dict[str, int]]:
    """(held, taken) → task that did so → when first."""
    holds = evidence.analysis.timeline.holds.drop_nulls("task")
    edges: dict[Edge, dict[str, int]] = {}
    for task, of_task in sorted(by_name(holds.filter(LENGTH > 0), "task").items()):
        if of_task["lock"].n_unique() < 2:
            continue
        by_lock = {lock: rows.sort("start_ns") for lock, rows in by_name(of_task, "lock").items()}
        for held, outer in by_lock.items():
            starts, ends = outer["start_ns"].to_numpy(), np.append(outer["end_ns"].to_numpy(), -1)
            for taken, inner in by_lock.items():
                begins = inner["start_ns"].to_numpy()
                # A lock taken at the same time as another is taken after it only if it ends first.
                last = np.searchsorted(starts, begins, side="left") - 1
                inside = ends[last] > begins
                if held != taken and inside.any():
                    edges.setdefault((held, taken), {})[task] = int(begins[inside.argmax()])
    return edges


def _cycles(edges: dict[Edge, dict[str, int]]) -> Iterator[list[Edge]]:
    """Simple cycles, the shortest through each lock, each once; few locks nest in others."""
    after: dict[str, list[str]] = {}
    for held, taken in sorted(edges):
        after.setdefault(held, []).append(taken)
    seen: set[frozenset[str]] = set()
    for first in sorted(after):
        paths = [[first]]
        reached = {first}
        while paths:
            path = paths.pop(0)
            for lock in after.get(path[-1], []):
                if lock == first and frozenset(path) not in seen:
                    seen.add(frozenset(path))
                    yield list(zip(path, [*path[1:], first], strict=True))
                    paths = []
                    break
                if lock not in reached:
                    reached.add(lock)
                    paths.append([*path, lock])
