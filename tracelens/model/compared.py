"""The tables of a comparison of two groups of runs: what a row is, and every column."""

from typing import Final

import polars as pl

from tracelens.model.columns import Column, Table

QUANTITIES: Final = {
    "execution": "mean execution of a job, or of a run of an interrupt handler",
    "slow_execution": "share of the jobs that execute longer than 95 % of all jobs of both sides",
    "section": "mean own execution inside a hold of a lock; the subject is 'task in lock'",
    "response": "mean response time",
    "slow_response": "share of the jobs slower than 95 % of all jobs of both sides",
    "longest_response": "longest response time of each run, averaged over the runs",
    "misses": "share of the jobs that missed the deadline",
    "load": "mean load of a core, or what a task or handler takes of one",
    "inversion": "time held up by locks of lower tasks / time of the run",
    "unbounded_inversion": "the part of it in which third parties ran / time of the run",
    "stack": "least free bytes of each run, averaged over the runs",
}
"""What is compared. All are means over the runs of a side; more is worse, except of `stack`."""

Quantity = pl.Enum(list(QUANTITIES))
Unit = pl.Enum(("ns", "share", "bytes"))

COMPARISONS: Final = Table(
    "one quantity of one task, interrupt handler or core, held against each other",
    {
        "quantity": (Quantity, "see `QUANTITIES`"),
        "subject": (pl.String, "the task, the handler, 'task in lock' or 'core N'"),
        "unit": (Unit, "of old, new, the change, its interval and what is detectable"),
        "old": (pl.Float64, "mean over the runs of the old side"),
        "new": (pl.Float64, "mean over the runs of the new side"),
        "change": (pl.Float64, "new − old; where boards are blocks, within boards"),
        "change_low": (pl.Float64, "95 % interval of this change by itself; null if not judged"),
        "change_high": (pl.Float64, "its other end"),
        "detectable": (
            pl.Float64,
            "least change that about three in four such comparisons find; null: none",
        ),
        "p": (pl.Float64, "adjusted for the number of comparisons; null if not judged"),
        "moved": (pl.Boolean, "beyond noise: p ≤ the error rate; null if not judged"),
        "worse": (pl.Boolean, "the change is for the worse; null if there is none"),
        "above_ns": (pl.Int64, "of a share of slow jobs: slower than this"),
        "unjudged": (pl.String, "why it is not judged; null if it is"),
    },
)
_RUNS: dict[str, Column] = {
    "old_runs": (pl.Int64, "runs of the old side in which it ran"),
    "new_runs": (pl.Int64, "runs of the new side in which it ran"),
}
PRESENCE: Final = Table(
    "a task or interrupt handler that ran in any of the runs",
    {"subject": (pl.String, ""), **_RUNS},
)
DISTRIBUTIONS: Final = Table(
    "the jobs of one task on one side, all runs together",
    {
        "task": (pl.String, ""),
        "what": (pl.Enum(("response", "execution")), ""),
        "side": (pl.Enum(("old", "new")), ""),
        "jobs": (pl.Int64, "complete and judged"),
        **{
            f"{name}_ns": (pl.Int64, "percentiles are nearest rank")
            for name in ("min", "p50", "p95", "p99", "max")
        },
    },
)
