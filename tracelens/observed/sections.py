"""Critical sections as they were observed: how long, and inside which others."""

from collections.abc import Mapping
from itertools import permutations

import numpy as np
import polars as pl

from tracelens.theory.workload import Section


def sections(holds: pl.DataFrame) -> dict[str, tuple[Section, ...]]:
    """Task → its longest own execution in a hold of each lock. `holds` is a table of `HOLDS`."""
    whole = holds.filter(pl.col("complete") & pl.col("task").is_not_null()).with_columns(
        pl.col("task", "lock").cast(pl.String)
    )
    found: dict[str, tuple[Section, ...]] = {}
    for (task,), rows in whole.sort("start_ns").group_by("task"):
        by_lock = {str(lock): held for (lock,), held in rows.group_by("lock", maintain_order=True)}
        around = _nesting(by_lock)
        found[str(task)] = tuple(
            Section(lock, int(held["own_ns"].to_numpy().max()), around.get(lock, frozenset()))
            for lock, held in sorted(by_lock.items())
        )
    return found


def _nesting(by_lock: Mapping[str, pl.DataFrame]) -> dict[str, frozenset[str]]:
    """Lock → the locks in whose holds some hold of it lay whole."""
    around: dict[str, set[str]] = {}
    for outer, inner in permutations(by_lock, 2):
        starts = by_lock[outer]["start_ns"].to_numpy()
        ends = by_lock[outer]["end_ns"].to_numpy()
        begun = by_lock[inner]["start_ns"].to_numpy()
        closed = by_lock[inner]["end_ns"].to_numpy()
        place = np.searchsorted(starts, begun, side="right") - 1
        first, last = starts[place], ends[place]
        # Two holds of one span do not show which lock was taken first.
        inside = (place >= 0) & (last >= closed) & ((first < begun) | (last > closed))
        if inside.any():
            around.setdefault(inner, set()).add(outer)
    return {lock: frozenset(others) for lock, others in around.items()}


def holds_a_job(holds: pl.DataFrame, jobs: Mapping[str, int]) -> dict[str, dict[str, int]]:
    """Task → lock → how often a job holds it, on average, rounded up."""
    counted = (
        holds.filter(pl.col("task").is_not_null())
        .group_by(pl.col("task").cast(pl.String), pl.col("lock").cast(pl.String))
        .agg(pl.len())
    )
    found: dict[str, dict[str, int]] = {}
    for task, lock, number in zip(*counted.to_dict(as_series=False).values(), strict=True):
        found.setdefault(task, {})[lock] = -(-number // max(1, jobs.get(task, 1)))
    return found
