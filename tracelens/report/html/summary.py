"""What a reader in a hurry needs: was anything late, which tasks, and how near the others came."""

from typing import Final

import polars as pl

from tracelens.model.results import Analysis
from tracelens.numbers import count, listing
from tracelens.report.blocks import Column, Table
from tracelens.report.rows import left_out, table

MOST_TASKS: Final = 10


def headline(analysis: Analysis) -> str:
    """The verdict on all deadlines in one sentence."""
    promised = analysis.tasks.filter(pl.col("deadline_ns").is_not_null())
    if promised.is_empty():
        return "No deadline is declared, so nothing in this log can be called late."
    jobs, misses = promised.select(pl.col("jobs", "deadline_misses").sum()).row(0)
    late = promised.filter(pl.col("deadline_misses") > 0)["task"].to_list()
    if not late:
        of_all = count(promised.height, "task")
        return f"No job was late: {count(jobs, 'job')} of {of_all} with a deadline were judged."
    whose = f"all of {late[0]}" if len(late) == 1 else f"of {listing(late)}"
    judged = f"{count(jobs, 'job')} with a deadline were judged"
    return f"{count(misses, 'job')} came late, {whose}; {judged}."


def deadlines(analysis: Analysis) -> Table:
    """Each task that has a deadline: how many jobs were late, and how near the slowest came."""
    promised = analysis.tasks.filter(pl.col("deadline_ns").is_not_null()).with_columns(
        used=pl.col("response_max_ns") / pl.col("deadline_ns")
    )
    shown = (
        promised.with_row_index("row")
        .sort(
            pl.col("deadline_misses") > 0,
            "used",
            descending=True,
            nulls_last=True,
            maintain_order=True,
        )
        .head(MOST_TASKS)
        .sort("row")
    )
    return table(
        shown,
        {
            "task": Column("task"),
            "deadline_misses": Column("late", "count"),
            "jobs": Column("judged", "count"),
            "used": Column("largest", "share", means="response, of the deadline"),
        },
        left_out(shown.height, promised.height, "tasks", "nearest"),
    )
