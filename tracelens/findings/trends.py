"""What drifts through the run, and when it would reach its limit."""

from collections.abc import Iterator

import numpy as np
import polars as pl

from tracelens.findings import wording_ahead as wording
from tracelens.findings.evidence import Evidence
from tracelens.measures.contract import of_name
from tracelens.measures.naming import actors, with_name
from tracelens.measures.trend import BINS, Trend, binned, trend
from tracelens.model.results import Finding


def stacks(evidence: Evidence) -> Iterator[Finding]:
    """Stacks that are used up little by little: the mark falls in every fifth of the run alike.

    The low-water mark of a healthy task falls ever more rarely (of n random values about ln n are
    records); that of a leak falls evenly. Warned of if the forecast is within `forecast_runs`.
    """
    analysis, limits = evidence.analysis, evidence.limits
    start_ns, end_ns = analysis.window
    events = (
        analysis.timeline.log.events.lazy()
        .filter((pl.col("event") == "stack") & pl.col("time_ns").is_between(start_ns, end_ns))
        .select("part", "line", "time_ns", "subject", "value")
        .collect()
    )
    marks = (
        with_name(events, "subject", actors(analysis.timeline), "task")
        .with_columns(free=pl.col("value").cast(pl.String).cast(pl.Int64, strict=False))
        .drop_nulls("free")
    )
    for (task,), of_task in marks.group_by("task", maintain_order=True):
        time_ns = of_task["time_ns"].to_numpy()
        free = np.minimum.accumulate(of_task["free"].to_numpy())
        if len(free) < 6:
            continue
        edges = np.linspace(time_ns[0], end_ns, 6)
        level = free[np.searchsorted(time_ns, edges, "right") - 1]
        falls = -np.diff(level)
        fall = int(falls.sum())
        if fall <= 0 or falls.min() < limits.stack_even * fall / len(falls):
            continue
        ahead_ns = round(free[-1] / fall * (end_ns - int(time_ns[0])))
        if ahead_ns <= limits.forecast_runs * (end_ns - start_ns):
            yield Finding(
                severity="warning",
                subject=str(task),
                text=wording.stack_drifts(str(task), int(level[0]), int(free[-1]), ahead_ns),
                at_ns=int(time_ns[0]),
                kind="stack_drift",
                numbers={"fall_bytes": fall, "free_bytes": int(free[-1]), "ahead_ns": ahead_ns},
            )


def responses(evidence: Evidence) -> Iterator[Finding]:
    """Responses that grow through the run; by when they would reach the deadline.

    The rise over the run must be `hold_up_share` of the deadline, too.
    """
    analysis, limits = evidence.analysis, evidence.limits
    _, end_ns = analysis.window
    timely = analysis.tasks.filter((pl.col("deadline_misses") == 0) & (pl.col("jobs") >= BINS))
    judged = timely.drop_nulls("deadline_ns").select("task", "deadline_ns")
    for task, deadline_ns in judged.rows():  # few rows: one for each task
        of_task = evidence.jobs[task]
        line = _line(evidence, of_task["release_ns"], of_task["response_ns"], 0.5)
        reached_ns = _reached(evidence, line, deadline_ns, limits.hold_up_share)
        if reached_ns is not None:
            ahead_ns = reached_ns - end_ns
            yield Finding(
                severity="warning",
                subject=task,
                text=wording.response_drifts(task, line.first, line.last, deadline_ns, ahead_ns),
                at_ns=None,
                kind="response_drift",
                numbers={"z": line.z, "ahead_ns": ahead_ns},
            )


def queues(evidence: Evidence) -> Iterator[Finding]:
    """Queues that fill through the run; by when they would reach their depth.

    Taken are the highest levels of each part of the run.
    """
    analysis, limits = evidence.analysis, evidence.limits
    _, end_ns = analysis.window
    levels = analysis.timeline.queue_levels.drop_nulls("items")
    bounded = analysis.queues.filter(pl.col("most_items") < pl.col("depth"))
    for queue, depth in bounded.select("queue", "depth").rows():  # few rows: one for each queue
        of_queue = of_name(levels, "queue", queue)
        line = _line(evidence, of_queue["at_ns"], of_queue["items"], 1.0)
        reached_ns = _reached(evidence, line, depth, 2 * limits.hold_up_share)
        if reached_ns is not None:
            ahead_ns = reached_ns - end_ns
            yield Finding(
                severity="warning",
                subject=queue,
                text=wording.queue_drifts(queue, line.first, line.last, depth, ahead_ns),
                at_ns=None,
                kind="queue_drift",
                numbers={"z": line.z, "ahead_ns": ahead_ns},
            )


def jitter(evidence: Evidence) -> Iterator[Finding]:
    """Periodic tasks whose releases stray ever further from one period after the one before.

    The distance of each gap from the nearest multiple of the period, its highest tenth in each part
    of the run; it must have grown by `hold_up_share` of the period.
    """
    analysis, limits = evidence.analysis, evidence.limits
    for task in analysis.timeline.system.tasks:
        period_ns = task.period_ns
        if not period_ns or task.name not in evidence.jobs:
            continue
        release = evidence.jobs[task.name].filter(~pl.col("inferred"))["release_ns"].to_numpy()
        if len(release) <= BINS:
            continue
        gap = np.diff(release)
        stray = np.abs(gap - (2 * gap + period_ns) // (2 * period_ns) * period_ns)
        line = _line(evidence, pl.Series(release[1:]), pl.Series(stray), 0.9)
        if line.z >= limits.trend_z and line.last - line.first >= limits.hold_up_share * period_ns:
            yield Finding(
                severity="warning",
                subject=task.name,
                text=wording.jitter_grows(task.name, line.first, line.last, period_ns),
                at_ns=None,
                kind="jitter_drift",
                numbers={"z": line.z, "first_ns": line.first, "last_ns": line.last},
            )


def _line(evidence: Evidence, at_ns: pl.Series, values: pl.Series, share: float) -> Trend:
    start_ns, end_ns = evidence.analysis.window
    middle, told = binned(
        at_ns.to_numpy(), values.to_numpy().astype(np.float64), start_ns, end_ns, share
    )
    return trend(middle, told, end_ns)


def _reached(evidence: Evidence, line: Trend, limit: float, least_rise: float) -> int | None:
    """When a line that rises by more than chance reaches its limit, if that is soon enough."""
    start_ns, end_ns = evidence.analysis.window
    if line.z < evidence.limits.trend_z or line.last - line.first < least_rise * limit:
        return None
    reached_ns = end_ns if line.last >= limit else line.reaches(limit, end_ns)
    horizon_ns = end_ns + evidence.limits.forecast_runs * (end_ns - start_ns)
    return reached_ns if reached_ns is not None and reached_ns <= horizon_ns else None
