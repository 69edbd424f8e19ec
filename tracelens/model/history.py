"""The tables of a history of runs: what is kept of each run, and what changes from run to run."""

from typing import Final

import polars as pl

from tracelens.model.columns import Column, Table

MEASURES: Final = {
    "execution": "mean execution of a job, or of a run of an interrupt handler",
    "longest_execution": "longest execution of a job",
    "section": "mean own execution inside a hold of a lock; the subject is 'task in lock'",
    "longest_section": "longest own execution inside a hold",
    "response": "mean response time",
    "response_p95": "95th percentile of the response times, nearest rank",
    "longest_response": "longest response time",
    "misses": "share of the jobs that missed the deadline",
    "load": "load of a core, or what a task or handler takes of one",
    "peak_load": "highest load of a core over any window of 100 ms",
    "inversion": "time held up by locks of lower tasks / time of the run",
    "unbounded_inversion": "the part of it in which third parties ran / time of the run",
    "most_items": "most items of a queue",
    "stack": "least free bytes of a stack",
}
"""What is kept of a run, by subject. More is worse, except of `stack`."""

Measure = pl.Enum(list(MEASURES))
Unit = pl.Enum(("ns", "share", "items", "bytes"))
Moment = pl.Datetime("us", "UTC")

_OF_RUN: Final[dict[str, Column]] = {
    "run": (pl.String, "address of the log's content: the same log has the same"),
    "start": (Moment, "`#run start=`, in UTC; null if it does not say, or not in ISO 8601"),
    "added": (Moment, "when it was added"),
    "source": (pl.String, "name of the log's file"),
    "keys": (
        pl.List(pl.Struct({"key": pl.String, "value": pl.String})),
        "the keys of `#run`, in order",
    ),
    "span_ns": (pl.Int64, "length of the run"),
    "events": (pl.Int64, ""),
    "coverage": (pl.Float64, "known core time / core time"),
}
_OF_MEASURE: Final[dict[str, Column]] = {
    "measure": (Measure, "see `MEASURES`"),
    "subject": (pl.String, "the task, handler, 'task in lock', queue, or 'core N'"),
    "unit": (Unit, "of the value"),
}
HISTORY: Final = Table(
    "one measure of one thing in one run",
    {**_OF_RUN, **_OF_MEASURE, "value": (pl.Float64, "")},
)
RUNS: Final = Table("a run, oldest first", {**_OF_RUN})
COURSE: Final = Table(
    "one measure of one thing in each run that has it, oldest first",
    {
        "run": (pl.String, "as in `RUNS`"),
        "place": (pl.Int64, "of the run among all runs looked at, from 1"),
        "at": (Moment, "when the run started, else when it was added"),
        "value": (pl.Float64, "in the unit of the measure"),
        "level": (
            pl.Float64,
            "what the change comes to: the median on its side of the step, or the drift's line; "
            "null if there is no change beyond noise",
        ),
    },
)
TRENDS: Final = Table(
    "one measure of one thing over all runs that have it",
    {
        **_OF_MEASURE,
        "runs": (pl.Int64, "runs that have it"),
        "slope": (pl.Float64, "change a run (Theil and Sen); null if too few runs"),
        "slope_low": (pl.Float64, "95 % interval of it by itself"),
        "slope_high": (pl.Float64, "its other end"),
        "trend_p": (pl.Float64, "of a trend at all (Mann and Kendall), adjusted"),
        "changed_at": (pl.String, "the first run of the later level (Pettitt)"),
        "before": (pl.Float64, "median before it"),
        "after": (pl.Float64, "median from it on"),
        "change_p": (pl.Float64, "of a change at all, adjusted"),
        "shape": (
            pl.Enum(("step", "drift")),
            "which of the two tells the course better; null if there is no change beyond noise",
        ),
        "worse": (pl.Boolean, "the change is for the worse; null if there is none"),
    },
)
