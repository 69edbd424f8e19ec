"""What has grown in this run against its own usual: executions, critical sections, interrupts."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from tracelens.findings.thresholds import Limits
from tracelens.measures.contract import of_name
from tracelens.measures.parts import by_name
from tracelens.measures.rise import LEAST, Rise, rise
from tracelens.model.results import Analysis

WINDOWS = (64, 1024)
"""Parts of the run in which the load of a handler is looked at."""


@dataclass(frozen=True, slots=True)
class Growth:
    """`who` takes `risen` where it usually takes `usual` (ns; of a handler shares of a core).

    `holder` is set for a critical section: then `who` is the lock. `once`: it did so in a single
    job or hold.
    """

    who: str
    usual: float
    risen: float
    at_ns: int
    holder: str | None = None
    limit_ns: int | None = None
    once: bool = False


def levels(found: Rise | None, limits: Limits) -> tuple[float, float] | None:
    """(usual, risen) if a stretch stands out; None if not.

    Either nearly all its values stand apart from the rest, by `rise_ratio` in the median; or only
    some are higher, then its ninth tenth counts, and chance must be ruled out (`rise_certain`).
    """
    if found is None:
        return None
    if found.apart and found.score >= limits.rise_score:
        told = found.usual, found.risen
    elif found.score >= limits.rise_certain:
        told = found.usual_high, found.risen_high
    else:
        return None
    return told if told[1] >= limits.rise_ratio * max(told[0], 1.0) else None


def executions(jobs: dict[str, pl.DataFrame], analysis: Analysis, limits: Limits) -> list[Growth]:
    """Tasks whose jobs execute longer for a while, most urgent first. `jobs`: the judged ones."""
    grown = []
    for task in analysis.tasks.filter(~pl.col("idle") & (pl.col("jobs") > 0))["task"]:
        of_task = jobs[task]
        found = rise(of_task["execution_ns"].to_numpy())
        level = levels(found, limits)
        if found is not None and level is not None:
            at_ns = int(of_task["release_ns"][found.first])
            grown.append(Growth(task, level[0], level[1], at_ns))
        elif (single := _single(of_task["execution_ns"], limits)) is not None:
            row, usual, most = single
            at_ns = int(of_task["release_ns"][row])
            grown.append(Growth(task, usual, most, at_ns, once=True))
    return grown


def sections(analysis: Analysis, limits: Limits) -> list[Growth]:
    """Critical sections whose holder executes longer in them for a while.

    `limit_ns` is the least deadline of the other users of the lock.
    """
    grown = []
    holds = by_name(analysis.timeline.holds.filter("complete").drop_nulls("task"), "lock")
    users = {lock: by_name(rows, "task") for lock, rows in holds.items()}
    pairs = [(lock, task) for lock in sorted(users) for task in sorted(users[lock])]
    for lock, task in pairs:
        of_pair = users[lock][task].sort("start_ns")
        found = rise(of_pair["own_ns"].to_numpy())
        level = levels(found, limits)
        if found is not None and level is not None:
            limit_ns = least_deadline(analysis, [user for user in users[lock] if user != task])
            at_ns = int(of_pair["start_ns"][found.first])
            grown.append(Growth(lock, level[0], level[1], at_ns, task, limit_ns))
        elif (single := _single(of_pair["own_ns"], limits)) is not None:
            row, usual, most = single
            at_ns = int(of_pair["start_ns"][row])
            grown.append(Growth(lock, usual, most, at_ns, task, once=True))
    return grown


def interrupts(analysis: Analysis, limits: Limits) -> list[Growth]:
    """Handlers with a load far above their usual in some part of the run; the highest each."""
    start_ns, end_ns = analysis.window
    seen_whole = analysis.timeline.isr_runs.filter("complete")
    grown = []
    for isr in analysis.isrs.filter(pl.col("count") > 0)["isr"]:
        runs = of_name(seen_whole, "isr", isr).sort("start_ns")
        begins = runs["start_ns"].to_numpy()
        own = runs["own_ns"].to_numpy()
        # One run that lasts and lasts is a leave that was not recorded, and no storm.
        own = np.minimum(own, np.quantile(own, 0.99)) if len(own) else own
        taken = np.concatenate(([0], np.cumsum(own)))
        found = []
        for parts in WINDOWS:
            edges = np.linspace(start_ns, end_ns, parts + 1)
            load = np.diff(taken[np.searchsorted(begins, edges)]) / np.diff(edges)
            most = int(load.argmax())
            found.append((float(load[most]), float(np.median(load)), int(edges[most])))
            lasting = rise(load)  # for more than half of the run the median would hide it
            if lasting is not None and lasting.apart and lasting.score >= limits.rise_score:
                found.append((lasting.risen, lasting.usual, int(edges[lasting.first])))
        least = limits.burst_load
        far = [
            Growth(isr, usual, load, at_ns)
            for load, usual, at_ns in found
            if load >= max(limits.burst_ratio * usual, usual + least)
        ]
        if far:
            grown.append(max(far, key=lambda one: one.risen - one.usual))
    return grown


def least_deadline(analysis: Analysis, tasks: list[str]) -> int | None:
    """The least deadline of some tasks; None if none has one."""
    declared = analysis.tasks.filter(pl.col("task").is_in(tasks))["deadline_ns"].min()
    return declared if isinstance(declared, int) else None


def _single(values: pl.Series, limits: Limits) -> tuple[int, float, float] | None:
    """(row, usual, value) of the longest if it is far above all but a tenth of the others."""
    if len(values) < LEAST:
        return None
    row = int(values.arg_max() or 0)
    high = float(values.quantile(0.9, "nearest") or 0)
    most = float(values[row])
    if most < limits.single_ratio * max(high, 1.0):
        return None
    return row, float(values.quantile(0.5, "nearest") or 0), most
