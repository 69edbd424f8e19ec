"""The values behind a statistic, and how far what is missing could move it."""

import math
from typing import Final

import polars as pl

from tracelens.measures.contract import of_name
from tracelens.verdicts.view import View

VALUES: Final = {"value": pl.Int64, "at_ns": pl.Int64, "job_id": pl.Int64, "task": pl.String}
"""Of a sample: the value in ns, when it began, the job that it is of, the task that did it."""

COUNTED: Final = {
    ("tasks", "response"): "jobs",
    ("tasks", "execution"): "jobs",
    ("tasks", "start_latency"): "jobs",
    ("isrs", "run"): "runs",
    ("isrs", "latency"): "requests",
    ("locks", "hold"): "holds",
    ("locks", "own"): "holds",
    ("locks", "wait"): "waits",
    ("queues", "item_wait"): "items",
    ("chains", "latency"): "instances",
}
"""(group, series) → what each of its values is one of."""


def values(view: View, group: str, name: str, series: str) -> pl.DataFrame:
    """The values of one thing's series: columns of `VALUES`, in the order of their table."""
    run = view.run
    nothing = pl.lit(None, pl.Int64)
    nobody = pl.lit(None, pl.String)
    if group == "tasks":
        jobs = of_name(run.jobs, "task", name).filter(pl.col("status") == "complete")
        value = {
            "response": pl.col("response_ns"),
            "execution": pl.col("execution_ns"),
            "start_latency": pl.col("start_ns") - pl.col("release_ns"),
        }[series]
        picked = jobs.select(value.alias("value"), at_ns="release_ns", job_id="job_id", task="task")
    elif group == "isrs":
        runs = of_name(run.isr_runs, "isr", name)
        seen = (
            runs.filter("complete").select(value="own_ns", at_ns="start_ns")
            if series == "run"
            else runs.select(value=pl.col("start_ns") - pl.col("pend_ns"), at_ns="pend_ns")
        )
        picked = seen.with_columns(job_id=nothing, task=nobody)
    elif group == "locks":
        rows = of_name(run.lock_waits if series == "wait" else run.holds, "lock", name)
        if series != "wait":
            rows = rows.filter("complete")
        length = pl.col("own_ns") if series == "own" else pl.col("end_ns") - pl.col("start_ns")
        picked = rows.select(length.alias("value"), at_ns="start_ns", job_id=nothing, task="task")
    elif group == "queues":
        items = of_name(run.queue_items, "queue", name)
        wait = pl.col("receive_ns") - pl.col("send_ns")
        picked = items.select(wait.alias("value"), at_ns="send_ns", job_id=nothing, task=nobody)
    else:
        instances = view.analysis.chain_instances.filter(pl.col("chain") == name)
        picked = instances.select(value="latency_ns", at_ns="start_ns", job_id=nothing, task=nobody)
    return picked.select(pl.col(column).cast(dtype) for column, dtype in VALUES.items()).drop_nulls(
        "value"
    )


def unfinished(view: View, group: str, name: str, series: str) -> pl.DataFrame:
    """Values so far of what was not seen whole: lower bounds. Columns of `VALUES`."""
    if (group, series) == ("tasks", "response"):
        rows = of_name(view.run.jobs, "task", name).filter(pl.col("status") == "open")
        picked = rows.select(value="response_ns", at_ns="release_ns", job_id="job_id", task="task")
    elif (group, series) == ("locks", "hold"):
        rows = of_name(view.run.holds, "lock", name).filter(~pl.col("complete"))
        length = pl.col("end_ns") - pl.col("start_ns")
        picked = rows.select(
            length.alias("value"), at_ns="start_ns", job_id=pl.lit(None, pl.Int64), task="task"
        )
    else:
        return pl.DataFrame(schema=VALUES)
    return picked.select(pl.col(column).cast(dtype) for column, dtype in VALUES.items()).drop_nulls(
        "value"
    )


def needed(statistic: str) -> int:
    """How many values a statistic takes: below it a percentile by nearest rank is the maximum."""
    return -(-100 // (100 - int(statistic[1:]))) if statistic.startswith("p") else 1


def bounds(statistic: str, value: int, ordered: pl.Series, missing: int) -> tuple[float, float]:
    """Least and greatest that the statistic can be if `missing` further values may be anything.

    `value` is the statistic of the values seen, `ordered` those values ascending. Too few values
    for a percentile count as missing up to the number needed. Nearest rank: Hyndman and Fan 1996,
    type 1.
    """
    count = len(ordered)
    if statistic.startswith("p"):
        missing = max(missing, needed(statistic) - count)
    if missing <= 0:
        return value, value
    if statistic == "max":
        return value, math.inf
    if statistic == "min":
        return 0, value
    if statistic == "mean":
        return 0, math.inf
    rank = -(-int(statistic[1:]) * (count + missing) // 100)
    low = ordered[rank - missing - 1] if rank > missing else 0
    return low, ordered[rank - 1] if rank <= count else math.inf
