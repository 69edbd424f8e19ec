"""The engine's own record held against the reading of the log that it wrote."""

from collections import Counter
from typing import Any

import polars as pl

from tracelens.engine import Simulated, Truth
from tracelens.log import read_bytes
from tracelens.model.results import Timeline
from tracelens.reconstruct import reconstruct

JOBS = ("task", "release_ns", "start_ns", "end_ns", "status", "inferred", "late", "execution_ns")
INVERSIONS = (
    "kind",
    "victim",
    "lock",
    "chain",
    "start_ns",
    "end_ns",
    "holder_ns",
    "third_party_ns",
    "raised",
)


def differences(done: Simulated) -> list[str]:
    """One sentence for each row that only one of the two has; none if the reading is exact."""
    log = read_bytes(done.log, "simulated")
    run = reconstruct(log, log.declared)
    found = []
    if run.span_ns != done.truth.span_ns:
        found.append(f"span: {run.span_ns} read, {done.truth.span_ns} true")
    if run.contradictions.height or run.repairs.height:
        found.append(f"{run.contradictions.height} contradictions, {run.repairs.height} repairs")
    truth, reading = _rows(done.truth, done), _rows(run, done)
    for name in truth:
        true, read = Counter(truth[name]), Counter(reading[name])
        found += [f"{name}: only true: {row}" for row in (true - read).elements()]
        found += [f"{name}: only read: {row}" for row in (read - true).elements()]
    return found


def _rows(record: Timeline | Truth, done: Simulated) -> dict[str, list[tuple[Any, ...]]]:
    worked = [task.name for task in done.declared.tasks if not task.idle]
    jobs = record.jobs.filter(pl.col("task").cast(pl.String).is_in(worked)).with_columns(
        pl.when(pl.col("status") == "complete").then("start_ns").alias("start_ns")
    )
    length = (pl.col("end_ns") - pl.col("start_ns")).sum()
    ledgers = (
        record.episodes.join(jobs.select("job_id", "task", "job"), "job_id")
        .group_by("task", "job", "entry", "by", "via")
        .agg(length.alias("ns"))
        .filter(pl.col("ns") > 0)
    )
    found = {
        "jobs": jobs.select(JOBS).rows(),
        "ledgers": ledgers.rows(),
        "inversions": record.inversions.select(INVERSIONS).rows(),
        "deadlocks": record.deadlocks.rows(),
        "occupancy": record.occupancy.rows(),
    }
    return {name: [_hashable(row) for row in rows] for name, rows in found.items()}


def _hashable(row: tuple[Any, ...]) -> tuple[Any, ...]:
    return tuple(tuple(value) if isinstance(value, list) else value for value in row)
