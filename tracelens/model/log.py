"""What reading a log gives: its events, what it declares, and what could not be used."""

from dataclasses import dataclass
from typing import Final

import polars as pl

from tracelens.model.system import System

_UNUSED: dict[str, pl.DataType | type[pl.DataType]] = {
    "reason": pl.String,  # plain words, the same for every line of that kind
    "count": pl.Int64,
    "first_lines": pl.List(pl.String),  # at most five: '118', or 'name.csv:118' of several files
}
UNUSED: Final = pl.Schema(_UNUSED)
"""Lines that were not used, counted by reason. A log without damage has no row."""


@dataclass(frozen=True, slots=True)
class Log:
    """One log, read.

    `events` has the columns of `model.events.EVENTS`. `lines` counts every line of every source.
    `warnings` are whole sentences about what was read and is doubtful (a silence as long as the
    counter can count, an unknown key); `restarts` are the times (ns) at which later boots begin.
    `start_ticks` is the counter's value, as written, at the first event.
    """

    sources: tuple[str, ...]
    declared: System
    events: pl.DataFrame
    unused: pl.DataFrame
    lines: int
    start_ticks: int
    restarts: tuple[int, ...] = ()
    warnings: tuple[str, ...] = ()
