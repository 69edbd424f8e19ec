"""What is about to run out: stacks, queues, core time."""

from collections.abc import Iterator

import polars as pl

from tracelens.findings import wording
from tracelens.findings.thresholds import (
    CORE_LOAD,
    CORE_LOAD_FULL,
    PEAK_LOAD,
    QUEUE_SHARE,
    STACK_HEADROOM,
)
from tracelens.model.results import Analysis, Finding


def stacks(analysis: Analysis) -> Iterator[Finding]:
    """Stacks that are used up, thin, or still growing; the thinnest first."""
    known = analysis.tasks.drop_nulls("stack_least_free_bytes").sort(
        "stack_headroom", nulls_last=True, maintain_order=True
    )
    for row in known.to_dicts():
        task, free, size = row["task"], row["stack_least_free_bytes"], row["stack_size_bytes"]
        numbers = {"free_bytes": free} | ({"size_bytes": size} if size else {})
        if free <= 0:
            text = wording.stack_exhausted(task, size)
            yield Finding("error", task, text, None, "stack_exhausted", numbers)
        elif size and free < STACK_HEADROOM * size:
            text = wording.stack_thin(task, free, size)
            yield Finding("warning", task, text, None, "stack_thin", numbers)
        if row["stack_still_falling"] and free > 0:
            text = wording.stack_falling(task, free)
            yield Finding("warning", task, text, None, "stack_falling", numbers)


def queues(analysis: Analysis) -> Iterator[Finding]:
    """Queues that reached their depth, or came close to it; the fullest first."""
    fullest = (
        analysis.queues.with_columns(share=pl.col("most_items") / pl.col("depth"))
        .filter((pl.col("depth") > 1) & (pl.col("share") >= QUEUE_SHARE))
        .sort("share", descending=True, maintain_order=True)
    )
    for row in fullest.to_dicts():
        full = row["most_items"] >= row["depth"]
        say = wording.queue_full if full else wording.queue_nearly_full
        yield Finding(
            severity="warning" if full else "note",
            subject=row["queue"],
            text=say(row["queue"], row["most_items"], row["depth"], row["most_at_ns"]),
            at_ns=row["most_at_ns"],
            kind="queue_full" if full else "queue_nearly_full",
            numbers={"most_items": row["most_items"], "depth": row["depth"]},
        )


def core_loads(analysis: Analysis) -> Iterator[Finding]:
    """Cores that are loaded above the thresholds, then their peaks; the highest first."""
    loaded = analysis.cores.filter(pl.col("load") > CORE_LOAD)
    for row in loaded.sort("load", descending=True, maintain_order=True).to_dicts():
        yield Finding(
            severity="warning",
            subject=row["name"],
            text=wording.core_load(row["name"], row["load"], row["load_low"], row["load_high"]),
            at_ns=None,
            kind="core_full" if row["load"] > CORE_LOAD_FULL else "core_load",
            numbers={key: row[key] for key in ("load", "load_low", "load_high")},
        )
    peaks = analysis.cores.filter(pl.col("peak_load") >= PEAK_LOAD)
    for row in peaks.sort("peak_load", descending=True, maintain_order=True).to_dicts():
        yield Finding(
            severity="note",
            subject=row["name"],
            text=wording.peak_load(
                row["name"], row["peak_load"], row["peak_window_ns"], row["peak_at_ns"]
            ),
            at_ns=row["peak_at_ns"],
            kind="peak_load",
            numbers={"load": row["peak_load"], "window_ns": row["peak_window_ns"]},
        )
