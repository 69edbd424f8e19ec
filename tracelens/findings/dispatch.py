"""Who waits for a core although it is ready, or will: starvation, deferral, order, masks."""

from collections import Counter
from collections.abc import Iterator

import numpy as np
import polars as pl

from tracelens.findings import wording_ahead as wording
from tracelens.findings.evidence import Evidence
from tracelens.measures.contract import of_name
from tracelens.measures.load import by_core
from tracelens.model.results import Finding, Timeline
from tracelens.spans import LENGTH, Integers, meetings

_MOST = 200
"""Waits of one task that are looked into, the longest."""


def starvation(evidence: Evidence) -> Iterator[Finding]:
    """Tasks that were ready, once, for longer than their deadline, without running.

    Without a deadline the period counts; without either `starving_run_share` of the run, and then
    it is a note, for nobody said that it is late.
    """
    run = evidence.analysis.timeline
    start_ns, end_ns = evidence.analysis.window
    whole_ns = round(evidence.limits.starving_run_share * (end_ns - start_ns))
    periods = {task.name: task.period_ns or task.separation_ns for task in run.system.tasks}
    names = evidence.analysis.tasks.filter(~pl.col("idle"))["task"]
    most = {task: evidence.deadlines.get(task) or periods.get(task) or whole_ns for task in names}
    waits = _ready(evidence, most)
    for (task,), of_task in waits.group_by("task", maintain_order=True):
        longest = of_task.row(0, named=True)
        shares = _meanwhile(evidence, str(task), of_task.head(1))[0]
        ran = shares.most_common(1)
        promised = evidence.deadlines.get(str(task)) or periods.get(str(task))
        yield Finding(
            severity="warning" if promised else "note",
            subject=str(task),
            text=wording.starved(
                str(task),
                longest["end_ns"] - longest["start_ns"],
                longest["start_ns"],
                most[str(task)],
                ran[0] if ran else None,
            ),
            at_ns=longest["start_ns"],
            kind="starvation",
            numbers={"ready_ns": longest["end_ns"] - longest["start_ns"]},
        )


def deferral(evidence: Evidence) -> Iterator[Finding]:
    """Tasks that were ready while a lower one ran, far beyond what a switch takes in this run.

    At least `hold_up_share` of the deadline and `dispatch_ratio` times the median switch. What
    a lock explains (push-through) is left to the inversions.
    """
    limits = evidence.limits
    rank = evidence.more_urgent
    share = {task: limits.hold_up_share * ns for task, ns in evidence.deadlines.items()}
    waits = _ready(evidence, {task: ns for task, ns in share.items() if task in rank})
    waits = _without_inversions(evidence, waits)
    switch_ns: float | None = None
    for (name,), of_task in waits.group_by("task", maintain_order=True):
        task = str(name)
        below = {other for other in rank if rank[other] < rank[task]}
        few = of_task.head(_MOST)
        found = []
        for row, shares in enumerate(_meanwhile(evidence, task, few) if below else ()):
            lower = Counter({other: ns for other, ns in shares.items() if other in below})
            if lower.total() >= share[task]:
                found.append((lower.total(), row, lower.most_common(1)[0][0]))
        if not found:
            continue
        switch_ns = _median_switch(evidence) if switch_ns is None else switch_ns
        ns, row, by = max(found)
        if ns < limits.dispatch_ratio * switch_ns:
            continue
        at_ns = int(few["start_ns"][row])
        yield Finding(
            severity="warning",
            subject=task,
            text=wording.deferred(task, by, ns, at_ns, round(switch_ns), len(found)),
            at_ns=at_ns,
            kind="deferral",
            numbers={"deferred_ns": ns, "times": len(found), "switch_ns": switch_ns},
        )


def _median_switch(evidence: Evidence) -> float:
    switches = evidence.analysis.timeline.occupancy.lazy().filter(pl.col("occupant") == "switching")
    return float(switches.select(LENGTH.median()).collect().item() or 0)


def priority_order(evidence: Evidence) -> Iterator[Finding]:
    """Tasks below others with longer deadlines, or beside others with far longer ones.

    For fixed priorities and deadlines no longer than the periods, deadline-monotonic order is
    optimal (Leung and Whitehead, "On the complexity of fixed-priority scheduling of periodic,
    real-time tasks", Performance Evaluation 2, 1982; from memory). A warning if a deadline above is
    `order_ratio` times the own and that task's longest job takes `hold_up_share` of the own; else
    a note, for an order may have other reasons. Equal priorities count, as a note, from
    `order_ratio` on. The largest ratio first.
    """
    system, limits = evidence.analysis.timeline.system, evidence.limits
    if system.policy != "fixed":
        return
    rank, deadlines = evidence.more_urgent, evidence.deadlines
    ran = evidence.analysis.tasks.filter(pl.col("jobs") > 0)
    longest = dict(zip(ran["task"], ran["job_execution_max_ns"], strict=True))
    found = []
    for task in longest.keys() & rank.keys() & deadlines.keys():
        own_ns = deadlines[task]
        above = {
            other: deadlines[other]
            for other in longest
            if other in rank
            and deadlines.get(other, 0) > own_ns
            and (
                rank[other] > rank[task]
                or (rank[other] == rank[task] and deadlines[other] >= limits.order_ratio * own_ns)
            )
            and other != task
        }
        if above:
            first = max(above, key=lambda other: (above[other], other))
            heavy = any(
                rank[other] > rank[task]
                and above[other] >= limits.order_ratio * own_ns
                and longest[other] >= limits.hold_up_share * own_ns
                for other in above
            )
            found.append((above[first] / own_ns, task, first, heavy))
    for ratio, task, first, heavy in sorted(found, reverse=True):
        yield Finding(
            severity="warning" if heavy else "note",
            subject=task,
            text=wording.out_of_order(
                task, deadlines[task], first, deadlines[first], rank[task] == rank[first]
            ),
            at_ns=None,
            kind="priority_order",
            numbers={"ratio": ratio},
        )


def masked(evidence: Evidence) -> Iterator[Finding]:
    """Interrupts masked, or the scheduler locked, for `hold_up_share` of the least deadline."""
    least_ns = min(evidence.deadlines.values(), default=None)
    if least_ns is None:
        return
    task = min(evidence.deadlines, key=lambda one: evidence.deadlines[one])
    long = evidence.analysis.masked.filter(
        pl.col("longest_ns") >= evidence.limits.hold_up_share * least_ns
    )
    for row in long.sort("longest_ns", descending=True, maintain_order=True).to_dicts():
        yield Finding(
            severity="warning",
            subject=row["longest_who"] or "log",
            text=wording.masked_long(
                row["longest_who"], row["what"], row["longest_ns"], row["longest_at_ns"], task
            ),
            at_ns=row["longest_at_ns"],
            kind="masked_long",
            numbers={"longest_ns": row["longest_ns"], "deadline_ns": least_ns},
        )


def _ready(evidence: Evidence, least: dict[str, float] | dict[str, int]) -> pl.DataFrame:
    """Times in which a task is ready for at least so long. Task as String; the longest first."""
    limits = pl.DataFrame(
        {"task": list(least), "least": [float(ns) for ns in least.values()]},
        schema={"task": pl.String, "least": pl.Float64},
    )
    shortest = min(least.values(), default=0)
    return (
        evidence.analysis.timeline.task_states.lazy()
        .filter((pl.col("state") == "ready") & LENGTH.ge(shortest))
        .select(pl.col("task").cast(pl.String), "start_ns", "end_ns")
        .join(limits.lazy(), on="task", maintain_order="left")
        .filter(LENGTH.ge(pl.col("least")))
        .sort(LENGTH, descending=True, maintain_order=True)
        .collect()
    )


def _without_inversions(evidence: Evidence, waits: pl.DataFrame) -> pl.DataFrame:
    inversions = evidence.analysis.timeline.inversions.select(
        pl.col("victim").cast(pl.String), from_ns="start_ns", to_ns="end_ns"
    )
    held_up = (
        waits.with_row_index("row")
        .join(inversions, left_on="task", right_on="victim")
        .filter((pl.col("from_ns") < pl.col("end_ns")) & (pl.col("to_ns") > pl.col("start_ns")))
    )
    return (
        waits.with_row_index("row")
        .join(held_up, on="row", how="anti", maintain_order="left")
        .drop("row")
    )


def _meanwhile(evidence: Evidence, task: str, waits: pl.DataFrame) -> list[Counter[str]]:
    """For each wait of `task`: which tasks had the core it starts on next, and for how long."""
    run = evidence.analysis.timeline
    cores = by_core(run.occupancy)
    core_of = (
        _next_core(run, task, waits)
        if len(cores) > 1
        else np.full(waits.height, next(iter(cores), 0))
    )
    shares: list[Counter[str]] = [Counter() for _ in range(waits.height)]
    for core, rows in cores.items():
        here = np.flatnonzero(core_of == core)
        if not len(here):
            continue
        a, b = waits["start_ns"].to_numpy()[here], waits["end_ns"].to_numpy()[here]
        wait, row = meetings(rows["start_ns"].to_numpy(), rows["end_ns"].to_numpy(), a, b)
        met = rows[row].with_columns(pl.col("who").cast(pl.String))
        ns = np.minimum(met["end_ns"].to_numpy(), b[wait]) - np.maximum(
            met["start_ns"].to_numpy(), a[wait]
        )
        had = (met["occupant"] == "task").to_numpy()
        for one, who, spent in zip(
            here[wait[had]], met["who"].filter(pl.Series(had)), ns[had], strict=True
        ):
            shares[int(one)][who] += int(spent)
    return shares


def _next_core(run: Timeline, task: str, waits: pl.DataFrame) -> Integers:
    """The core that `task` starts on after each wait; if it never does, the one it declares."""
    declared = {one.name: one.core for one in run.system.tasks}[task]
    if declared is not None:
        return np.full(waits.height, declared, np.int64)
    running = of_name(run.task_states, "task", task).filter(pl.col("state") == "running")
    running = running.sort("start_ns")
    next_ = np.searchsorted(running["start_ns"].to_numpy(), waits["end_ns"].to_numpy())
    cores = np.append(running["core"].to_numpy(), 0).astype(np.int64)
    return np.asarray(cores[np.minimum(next_, max(len(cores) - 2, 0))])
