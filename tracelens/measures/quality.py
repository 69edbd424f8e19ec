"""How far a log can be trusted."""

import polars as pl

from tracelens.model.results import Quality, Timeline


def quality(run: Timeline, spent: pl.DataFrame) -> Quality:
    """Counts over the whole log, and the share of core time that is known.

    `run` is the whole run; `spent` the `totals` of its occupancy, cut or whole. Without any core
    time nothing is known: the coverage is 0.
    """
    core_ns = int(spent["ns"].sum())
    unknown_ns = int(spent.filter(pl.col("occupant") == "unknown")["ns"].sum())
    return Quality(
        events=run.log.events.height,
        lines=run.log.lines,
        boots=len(run.log.restarts) + 1,
        lost_events=run.lost_events,
        contradictions=run.contradictions.height,
        repairs=run.repairs.height,
        coverage=1 - unknown_ns / core_ns if core_ns else 0.0,
    )
