"""Restrict a run to the windows that the measures are taken over."""

from dataclasses import replace

import polars as pl

from tracelens.measures.load import in_order
from tracelens.model.results import Timeline
from tracelens.spans import Windows, at, clip, inside, union


def cut(run: Timeline, windows: Windows) -> Timeline:
    """The same run, with only what belongs to the windows in its tables.

    Times that can be divided are cut at the edges: occupancy, task states, masks. What is one event
    of its own belongs to a window if it begins and ends within it: jobs, holds, lock waits,
    interrupt runs, inversions, queue items. So a job counts where both its release and its
    completion lie in the same window, and no job is judged by a part of its response.
    The items that a queue holds when a window begins count from there. The occupancy comes out by
    core, then in order of time, which several measures would otherwise bring about each.
    """
    run = replace(run, occupancy=in_order(run.occupancy))
    if windows == ((0, run.span_ns),):
        return run
    inversions = inside(run.inversions, windows)
    return replace(
        run,
        task_states=clip(run.task_states, windows),
        occupancy=clip(run.occupancy, windows),
        jobs=inside(run.jobs, windows, "release_ns", "end_ns"),
        holds=inside(run.holds, windows),
        lock_waits=inside(run.lock_waits, windows),
        inversions=inversions,
        third_parties=run.third_parties.join(inversions, on="inversion_id", how="semi"),
        deadlocks=at(run.deadlocks, windows),
        isr_runs=inside(run.isr_runs, windows),
        queue_levels=_levels(run.queue_levels, windows, run.span_ns),
        queue_items=inside(run.queue_items, windows, "send_ns", "receive_ns"),
        masks=clip(run.masks, windows),
    )


def occurrences(phases: pl.DataFrame, phase: str) -> Windows:
    """The windows of every occurrence of one phase (a table of `PHASES`)."""
    of_it = phases.filter(pl.col("phase") == phase)
    return union(list(zip(of_it["start_ns"], of_it["end_ns"], strict=True)))


def _levels(levels: pl.DataFrame, windows: Windows, span_ns: int) -> pl.DataFrame:
    """Levels as the spans that they last, clipped, and turned back into changes."""
    lasting = levels.with_columns(
        start_ns=pl.col("at_ns"),
        end_ns=pl.col("at_ns").shift(-1).over("queue").fill_null(span_ns),
    )
    return clip(lasting, windows).select("queue", pl.col("start_ns").alias("at_ns"), "items")
