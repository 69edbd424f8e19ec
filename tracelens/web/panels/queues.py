"""The panel of queues: items over time, how long they waited, and how many went through."""

import polars as pl

from tracelens.drawing.figures import Shown
from tracelens.drawing.panels.queues import items, queue_over_time
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.report.blocks import Column
from tracelens.units import NS_PER_S
from tracelens.web.panels.grid import Grid, Head
from tracelens.web.panels.panel import Asked, Panel
from tracelens.web.panels.places import place


def _missing(run: Run) -> str:
    if run.analysis.queues.height:
        return ""
    return (
        "No queue is in this log: log `send` and `receive`, and declare each queue with a #queue "
        "line and its depth."
    )


def _names(run: Run) -> list[str]:
    return run.analysis.queues["queue"].to_list()


def _figure(run: Run, asked: Asked, sheet: Sheet) -> Shown:
    return queue_over_time(run, asked.of or "", asked.start_ns, asked.end_ns, sheet)


def _data(run: Run, asked: Asked) -> pl.DataFrame:
    """The items taken out in the window."""
    taken = items(run, asked.of or "", asked.start_ns, asked.end_ns)
    return taken.select(pl.lit(asked.of, pl.String).alias("queue"), pl.all())


def _table(run: Run, of: str | None) -> Grid:
    queue_items = run.analysis.timeline.queue_items
    wait = pl.col("receive_ns") - pl.col("send_ns")
    longest = (
        queue_items.lazy()
        .with_columns(pl.col("queue").cast(pl.String), wait=wait)
        .group_by("queue")
        .agg(pl.col("send_ns", "receive_ns").get(pl.col("wait").arg_max()))
        .collect()
        .select("queue", wait_place=place("send_ns", "receive_ns", lane="queue"))
    )
    span_s = max(1, sum(end - start for start, end in [run.analysis.window])) / NS_PER_S
    most = place("most_at_ns", "most_at_ns", lane="queue")
    rows = run.analysis.queues.join(
        longest, on="queue", how="left", maintain_order="left"
    ).with_columns(per_second=pl.col("receives") / span_s, most_place=most)
    return Grid(
        rows,
        {
            "queue": Head(Column("queue")),
            "most_items": Head(Column("most", "count"), leads="most_place"),
            "depth": Head(Column("depth", "count")),
            "item_wait_p50_ns": Head(Column("median wait", "time")),
            "item_wait_max_ns": Head(Column("longest wait", "time"), leads="wait_place"),
            "sends": Head(Column("sent", "count")),
            "receives": Head(Column("taken", "count")),
            "per_second": Head(Column("taken /s", "number")),
        },
        note="Of the whole run. Items wait from `send` to `receive`, first in, first out.",
    )


PANEL = Panel(
    value="queues",
    label="queues",
    missing=_missing,
    figure=_figure,
    data=_data,
    table=_table,
    of=_names,
    of_what="queue",
    follows=frozenset({"view"}),
    over_time=True,
)
