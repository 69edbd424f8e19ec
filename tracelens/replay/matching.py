"""Which job of a replay is which job of the record."""

from typing import Final

import polars as pl

from tracelens.model.results import Timeline

MATCHED: Final = ("task", "job_id", "release_ns", "response_ns", "late")
_NEAR_NS: Final = 5_000_000
"""Releases so far apart are not of the same job, where a log has gaps and numbers say nothing."""


def matched(before: Timeline, after: Timeline) -> pl.DataFrame:
    """The judged jobs of two runs of one system, side by side.

    Columns: task (String), job, and of both, the second with `_after`: job_id, release_ns,
    response_ns, late. Rows: the complete jobs of the first; those of the second that have no
    counterpart are left out, and what a job of the first lacks in the second is null. Jobs are
    matched by number; in a log with losses by release, the nearest.
    """
    first, second = _judged(before), _judged(after)
    if not before.lost_events and before.contradictions.is_empty() and not before.log.restarts:
        return first.join(
            second.drop("gap"), ["task", "job"], "left", suffix="_after", maintain_order="left"
        )
    nearest = first.sort("release_ns").join_asof(
        second.drop("job").with_columns(near="release_ns").sort("release_ns"),
        left_on="release_ns",
        right_on="near",
        by="task",
        strategy="nearest",
        tolerance=_NEAR_NS,
        suffix="_after",
        check_sortedness=False,
    )
    # A job of the replay stands for one job at most: the nearest.
    apart = (pl.col("release_ns_after") - pl.col("release_ns")).abs()
    taken = apart > apart.min().over("task", "job_id_after")
    after_columns = [f"{name}_after" for name in MATCHED[1:]]
    return nearest.with_columns(
        pl.when(~taken.fill_null(True)).then(column).alias(column) for column in after_columns
    ).sort("task", "job")


def _judged(run: Timeline) -> pl.DataFrame:
    complete = run.jobs.filter(pl.col("status") == "complete")
    return complete.select(pl.col("task").cast(pl.String), "job", *MATCHED[1:], gap=pl.lit(0))
