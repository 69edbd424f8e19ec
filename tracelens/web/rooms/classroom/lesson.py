"""An exercise under one protocol: run by the engine, its log read like any other."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import polars as pl

from tracelens.drawing.runs import Run
from tracelens.engine import simulate
from tracelens.formats.taskset_toml import parse_taskset
from tracelens.reading import read_bytes
from tracelens.web.loading import prepared

MOST_EVENTS: Final = 20_000
"""More than fits on a page; a set that makes more is refused before it fills the memory."""


@dataclass(frozen=True, slots=True, eq=False)
class Lesson:
    """The log that the engine made, and the run that was read from it."""

    log: bytes
    run: Run


@lru_cache(maxsize=64)
def play(taskset: str) -> Lesson:
    """Run a task set, given as TOML. Raises `SystemFileError` or `UsageError`."""
    log = simulate(parse_taskset(taskset, "the set"), most_events=MOST_EVENTS).log
    return Lesson(log, prepared(read_bytes(log, "exercise.csv")))


def slowest(run: Run) -> pl.DataFrame:
    """The slowest job of each task that has one, most urgent task first; columns of `jobs`.

    An open job counts by how long it has been open.
    """
    tasks = [lane.name for lane in run.lanes.of("task") if not lane.idle]
    jobs = run.analysis.timeline.jobs.filter(pl.col("status").is_in(["complete", "open"]))
    longest = jobs.sort(
        pl.col("end_ns") - pl.col("release_ns"), "late", descending=True, maintain_order=True
    )
    first = longest.unique("task", keep="first", maintain_order=True)
    order = pl.col("task").cast(pl.String).replace_strict(tasks, range(len(tasks)), default=None)
    return first.with_columns(order=order).drop_nulls("order").sort("order").drop("order")
