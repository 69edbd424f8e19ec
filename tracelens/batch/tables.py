"""What many runs amount to: what a row of each table is, and its columns."""

from typing import Final

import polars as pl

from tracelens.model.columns import Column, Table
from tracelens.model.measured import MEASURED

_RUN: Final[dict[str, Column]] = {
    "run": (pl.String, "path of the log below the directory that all logs have in common"),
}

RUNS: Final = Table(
    "a run, read or not",
    {
        **_RUN,
        "status": (pl.Int64, "0: read; else the exit status that a report of it has"),
        "error": (pl.String, "why it could not be read; null if it was"),
        "declared": (pl.String, "what #run says of the run: build=4f2c9e board=bench3"),
        "events": (pl.Int64, ""),
        "lines": (pl.Int64, ""),
        "span_ns": (pl.Int64, "from the first event to the last"),
        "cores": (pl.Int64, ""),
        "coverage": (pl.Float64, "known core time / core time"),
        "lost_events": (pl.Int64, "that the target reported"),
        "contradictions": (pl.Int64, "signs of a switch that was not recorded"),
        "repairs": (pl.Int64, "places where the log was mended"),
        "unused_lines": (pl.Int64, ""),
        "errors": (pl.Int64, "findings of this severity"),
        "warnings": (pl.Int64, "findings of this severity"),
        "notes": (pl.Int64, "findings of this severity"),
        "jobs": (pl.Int64, "judged, of tasks that have a deadline"),
        "deadline_misses": (pl.Int64, "late jobs, open ones that are late already included"),
        "nearest_task": (pl.String, "whose largest response is the largest share of its deadline"),
        "nearest": (pl.Float64, "that share; above 1 it was late"),
        "load": (pl.Float64, "of the busiest core"),
        "first_finding": (pl.String, "the worst; null if nothing was found"),
        "report": (pl.String, "the JSON report, below the directory of the results"),
    },
)
FINDINGS: Final = Table(
    "one finding of one run, the worst first",
    {
        **_RUN,
        "severity": (pl.String, "error, warning or note"),
        "kind": (pl.String, "which detector found it"),
        "subject": (pl.String, "the task, core, lock, queue, chain or 'log' that it is about"),
        "text": (pl.String, ""),
        "at_ns": (pl.Int64, "where in the log; null if it has no place"),
    },
)

_SUMMARIES: Final = ("cores", "tasks", "isrs", "locks", "queues", "chains")

TABLES: Final[dict[str, Table]] = {
    "runs": RUNS,
    "findings": FINDINGS,
    **{
        name: Table(f"{MEASURED[name].row}, in one run", {**_RUN, **MEASURED[name].columns})
        for name in _SUMMARIES
    },
}
"""Name → contract of every table that a batch writes; measures are those of a single report."""
