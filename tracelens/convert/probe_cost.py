"""The time that recording took, taken out of a log of the probe again."""

from dataclasses import replace

import polars as pl

from tracelens.errors import UsageError
from tracelens.log.writer import COMMON_CLOCK
from tracelens.model.log import Log
from tracelens.units import NS_PER_S

_KEY = "probe_ticks_for_64_events"


def subtract(log: Log) -> tuple[Log, float]:
    """(the log as if recording took no time, nanoseconds an event).

    Each event delayed all that came after it on its core by what it cost; times stay in order. A
    log of more than one core has no such correction: what one core records delays that core alone,
    and their order would change. Raises `UsageError` for it, and for a log that does not say what
    an event cost.
    """
    if log.events["core"].n_unique() > 1:
        raise UsageError(
            "the probe's time cannot be taken out: found events of several cores, expected one",
            hint="what one core records delays that core alone",
        )
    ticks = log.declared.run.get(_KEY, "")
    if not ticks.isdigit() or not log.declared.clocks:
        raise UsageError(
            f"the log does not say what an event cost: found no #run {_KEY}=, expected ticks",
            hint="the probe writes it when it begins",
        )
    cost_ns = int(ticks) * NS_PER_S / log.declared.clocks[0].hz / 64
    events = log.events.with_row_index("nth").with_columns(
        time_ns=(pl.col("time_ns") - (pl.col("nth") * cost_ns).round().cast(pl.Int64)).cum_max()
    )
    declared = replace(log.declared, clocks=(COMMON_CLOCK,))
    return replace(log, events=events.drop("nth"), declared=declared, start_ticks=0), cost_ns
