"""The panel of priority inversions: whom they held up, by which lock, and what bounds them."""

import polars as pl

from tracelens.drawing.runs import Run
from tracelens.report.blocks import Column
from tracelens.web.panels.grid import Grid, Head, Order
from tracelens.web.panels.panel import Panel
from tracelens.web.panels.places import place


def _missing(run: Run) -> str:
    if run.analysis.timeline.inversions.height:
        return ""
    if not run.analysis.timeline.system.locks:
        return (
            "No lock is in this log, so no task was held up by one: log `request`, `lock` and "
            "`unlock`, and declare each with a #lock line."
        )
    return "No task was held up by a lock of a less urgent one in this run."


def _table(run: Run, of: str | None) -> Grid:
    timeline = run.analysis.timeline
    third = (
        timeline.third_parties.sort("ns", descending=True, maintain_order=True)
        .group_by("inversion_id", maintain_order=True)
        .agg(third=pl.col("task").cast(pl.String).str.join(", "))
    )
    rows = timeline.inversions.join(
        third, on="inversion_id", how="left", maintain_order="left"
    ).select(
        "victim",
        pl.col("kind").cast(pl.String).str.replace("_", "-"),
        "lock",
        chain=pl.col("chain").list.join(" → "),
        start_ns="start_ns",
        duration_ns=pl.col("end_ns") - pl.col("start_ns"),
        third_party_ns="third_party_ns",
        third_parties=pl.col("third").fill_null(""),
        holder_ns="holder_ns",
        raised="raised",
        place=place("start_ns", "end_ns", job="job_id", lane="victim"),
    )
    return Grid(
        rows,
        {
            "victim": Head(Column("held up"), leads="place"),
            "kind": Head(Column("kind")),
            "lock": Head(Column("lock")),
            "chain": Head(Column("its owners")),
            "start_ns": Head(Column("at", "moment"), leads="place"),
            "duration_ns": Head(Column("for", "time"), leads="place"),
            "third_party_ns": Head(Column("unbounded", "time"), leads="place"),
            "third_parties": Head(Column("who ran then")),
            "holder_ns": Head(Column("bounded", "time"), leads="place"),
            "raised": Head(Column("raised", "flag")),
        },
        order=Order("duration_ns"),
        note="Unbounded: less urgent tasks that own none of the locks ran; bounded: the owners. "
        "Direct: it waits for a lock; push-through: it is ready while a raised task runs; ceiling: "
        "it is refused a free lock. Raised: an owner ran above its base priority.",
    )


PANEL = Panel("inversions", "inversions", missing=_missing, table=_table)
