"""What is about to run out: stacks, queues, core time."""

from collections.abc import Iterator

import polars as pl

from tracelens.findings import wording
from tracelens.findings.evidence import Evidence
from tracelens.model.results import Analysis, Finding


def stacks(evidence: Evidence) -> Iterator[Finding]:
    """Stacks that are used up or thin; the thinnest first."""
    for row in _thinnest(evidence).to_dicts():
        task, free, size = row["task"], row["stack_least_free_bytes"], row["stack_size_bytes"]
        numbers = {"free_bytes": free} | ({"size_bytes": size} if size else {})
        if free <= 0:
            text = wording.stack_exhausted(task)
            yield Finding("error", task, text, None, "stack_exhausted", numbers)
        elif size and free < evidence.limits.stack_headroom * size:
            text = wording.stack_thin(task, free, size)
            yield Finding("warning", task, text, None, "stack_thin", numbers)


def growing_stacks(evidence: Evidence) -> Iterator[Finding]:
    """Stacks whose mark fell once more in the last third of the run, as it may by chance."""
    for row in _thinnest(evidence).filter("stack_still_falling").to_dicts():
        task, free = row["task"], row["stack_least_free_bytes"]
        if free > 0:
            text = wording.stack_falling(task, free)
            yield Finding("note", task, text, None, "stack_falling", {"free_bytes": free})


def queues(evidence: Evidence) -> Iterator[Finding]:
    """Queues that reached their depth, or came close to it; the fullest first."""
    analysis = evidence.analysis
    fullest = (
        analysis.queues.with_columns(share=pl.col("most_items") / pl.col("depth"))
        .filter((pl.col("depth") > 1) & (pl.col("share") >= evidence.limits.queue_share))
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


def core_loads(evidence: Evidence) -> Iterator[Finding]:
    """Cores that are loaded above the thresholds, then their peaks; the highest first."""
    analysis = evidence.analysis
    loaded = analysis.cores.filter(pl.col("load") > evidence.limits.core_load)
    some_idle = analysis.tasks.is_empty() or bool(analysis.tasks["idle"].any())
    for row in loaded.sort("load", descending=True, maintain_order=True).to_dicts():
        full = row["load"] > evidence.limits.core_load_full
        yield Finding(
            severity="warning" if full else "note",
            subject=row["name"],
            text=wording.core_load(
                row["name"],
                row["load"],
                row["load_low"],
                row["load_high"],
                _busiest(analysis),
                idle_named=some_idle or row["idle"] > 0,
            ),
            at_ns=None,
            kind="core_full" if full else "core_load",
            numbers={key: row[key] for key in ("load", "load_low", "load_high")},
        )
    peaks = analysis.cores.filter(pl.col("peak_load") >= evidence.limits.peak_load)
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


def _thinnest(evidence: Evidence) -> pl.DataFrame:
    return evidence.analysis.tasks.drop_nulls("stack_least_free_bytes").sort(
        "stack_headroom", nulls_last=True, maintain_order=True
    )


def _busiest(analysis: Analysis) -> tuple[str, float] | None:
    """Who takes most core time of all, and how much of one core."""
    loads = [
        (row["name"], row["load"])
        for table, key in ((analysis.tasks.filter(~pl.col("idle")), "task"), (analysis.isrs, "isr"))
        for row in table.select(name=key, load="load").drop_nulls("load").to_dicts()
    ]
    return max(loads, key=lambda one: one[1], default=None)
