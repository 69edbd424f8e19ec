"""Queues: how full they were, and how long their items waited."""

import polars as pl

from tracelens.measures.contract import FIVE, conform, statistics
from tracelens.measures.naming import queue_ids, with_name
from tracelens.model.measured import QUEUE_SUMMARY
from tracelens.model.results import Timeline
from tracelens.spans import Windows, at


def queues(run: Timeline, windows: Windows) -> pl.DataFrame:
    """The summary of every queue: a table of `QUEUE_SUMMARY`, in order of declaration.

    `run` is cut to `windows`; of its log, the sends and receives within them count. `most_at_ns`
    is when the most items were reached first. Levels that are not known do not count.
    """
    most = (
        run.queue_levels.drop_nulls("items")
        .group_by("queue")
        .agg(
            most_items=pl.col("items").max(),
            most_at_ns=pl.col("at_ns").filter(pl.col("items") == pl.col("items").max()).min(),
        )
        .with_columns(pl.col("queue").cast(pl.String))
    )
    waits = (
        run.queue_items.lazy()
        .with_columns(wait=pl.col("receive_ns") - pl.col("send_ns"))
        .group_by("queue")
        .agg(*statistics("wait", "item_wait", FIVE))
        .with_columns(pl.col("queue").cast(pl.String))
        .collect()
    )
    declared = run.system.queues
    listed = pl.DataFrame(
        {"queue": [queue.name for queue in declared], "depth": [queue.depth for queue in declared]},
        schema={"queue": pl.String, "depth": pl.Int64},
    )
    return conform(
        listed.join(most, on="queue", how="left", maintain_order="left")
        .join(_traffic(run, windows), on="queue", how="left", maintain_order="left")
        .join(waits, on="queue", how="left", maintain_order="left")
        .with_columns(pl.col("sends", "receives").fill_null(0)),
        QUEUE_SUMMARY,
    )


def _traffic(run: Timeline, windows: Windows) -> pl.DataFrame:
    """How often each queue was sent to and received from. Columns queue, sends, receives."""
    events = (
        run.log.events.lazy()
        .filter((pl.col("event") == "send") | (pl.col("event") == "receive"))
        .select("part", "line", "time_ns", "event", "value")
        .collect()
    )
    return (
        with_name(at(events, windows, "time_ns"), "value", queue_ids(run), "queue")
        .group_by("queue")
        .agg(
            sends=(pl.col("event") == "send").sum().cast(pl.Int64),
            receives=(pl.col("event") == "receive").sum().cast(pl.Int64),
        )
    )
