"""The panel of locks: how long they were held, by themselves and on the wall, and waited for."""

import polars as pl

from tracelens.drawing.runs import Run
from tracelens.report.blocks import Column
from tracelens.web.panels.grid import Grid, Head
from tracelens.web.panels.panel import Panel
from tracelens.web.panels.places import place


def _missing(run: Run) -> str:
    if run.analysis.locks.height:
        return ""
    return (
        "No lock is in this log: log `request`, `lock` and `unlock`, and declare each with a "
        "#lock line."
    )


def _table(run: Run, of: str | None) -> Grid:
    timeline = run.analysis.timeline
    length = pl.col("end_ns") - pl.col("start_ns")
    at = place("start_ns", "end_ns", lane="lock")
    whole = timeline.holds.filter("complete")
    rows = (
        run.analysis.locks.join(
            _longest(whole, length, at, "hold_place"), on="lock", how="left", maintain_order="left"
        )
        .join(
            _longest(whole, pl.col("own_ns"), at, "own_place"),
            on="lock", how="left", maintain_order="left",
        )
        .join(
            _longest(
                timeline.lock_waits, length, place("start_ns", "end_ns", lane="task"), "wait_place"
            ),
            on="lock", how="left", maintain_order="left",
        )
    )  # fmt: skip
    return Grid(
        rows,
        {
            "lock": Head(Column("lock")),
            "protocol": Head(Column("protocol")),
            "holds": Head(Column("holds", "count")),
            "hold_max_ns": Head(Column("longest hold", "time"), leads="hold_place"),
            "hold_mean_ns": Head(Column("mean hold", "time")),
            "own_max_ns": Head(Column("most own execution", "time"), leads="own_place"),
            "contentions": Head(Column("waits", "count")),
            "wait_max_ns": Head(Column("longest wait", "time"), leads="wait_place"),
            "wait_total_ns": Head(Column("waits in all", "time", "total")),
        },
        note="Own execution: the owner's own, inside one hold, without what preempted it.",
    )


def _longest(spans: pl.DataFrame, amount: pl.Expr, at: pl.Expr, name: str) -> pl.DataFrame:
    """The place of the first of the longest spans of each lock. Columns lock, `name`."""
    return (
        spans.lazy()
        .select(pl.col("lock").cast(pl.String), amount=amount, row=pl.int_range(pl.len()))
        .group_by("lock")
        .agg(row=pl.col("row").get(pl.col("amount").arg_max()))
        .collect()
        .pipe(
            lambda found: pl.DataFrame(
                {"lock": found["lock"], name: spans[found["row"]].select(at).to_series()}
            )
        )
    )


PANEL = Panel("locks", "locks", missing=_missing, table=_table)
