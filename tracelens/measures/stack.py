"""Stack headroom, from the marks that the kernel's fill pattern leaves."""

import polars as pl

from tracelens.measures.naming import actors, with_name
from tracelens.model.results import Timeline
from tracelens.spans import Windows, at


def stack(run: Timeline, windows: Windows) -> pl.DataFrame:
    """Least free bytes of each task that reported any, and whether the mark was still falling.

    Columns: task (String), stack_least_free_bytes, stack_still_falling: the mark fell below every
    earlier one in the last third of the windows' extent; then the least value seen is no bound. Of
    the `stack` events within the windows; one whose value is no integer says nothing.
    """
    last_third_ns = last_third(windows)
    lowest = pl.col("free_bytes").cum_min().over("task")
    return (
        stack_marks(run, windows)
        .with_columns(fell=pl.col("free_bytes") < lowest.shift().over("task"))
        .group_by("task", maintain_order=True)
        .agg(
            stack_least_free_bytes=pl.col("free_bytes").min(),
            stack_still_falling=(pl.col("fell") & (pl.col("at_ns") >= last_third_ns)).any(),
        )
    )


def stack_marks(run: Timeline, windows: Windows) -> pl.DataFrame:
    """Every mark within the windows, in order of the log. Columns task (String), at_ns, free_bytes.

    One whose value is no integer says nothing, and is left out.
    """
    events = at(
        run.log.events.lazy()
        .filter(pl.col("event") == "stack")
        .select("part", "line", "time_ns", "subject", "value")
        .collect(),
        windows,
        "time_ns",
    )
    return (
        with_name(events, "subject", actors(run), "task")
        .select(
            "task",
            at_ns="time_ns",
            free_bytes=pl.col("value").cast(pl.String).cast(pl.Int64, strict=False),
        )
        .drop_nulls("free_bytes")
    )


def last_third(windows: Windows) -> int:
    """Where (ns) the last third of the windows' extent begins."""
    if not windows:
        return 0
    first, last = windows[0][0], windows[-1][1]
    return first + -(-2 * (last - first) // 3)
