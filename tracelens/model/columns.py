"""What the columns of the derived tables are made of: dtypes, words, and the form of a contract.

Times are integer nanoseconds from the first event of the log; intervals are half-open
[start_ns, end_ns). A `Name` column holds names, never ids; it is stored as an Enum over the names
of that log, so comparing with a string works. `core` is the integer of the log. A share is a
Float64 from 0 to 1. Null means 'there is none' or 'not known'.
"""

from dataclasses import dataclass
from typing import Final

import polars as pl

Name: Final = pl.Enum([])
"""Stands in a schema for 'an Enum over the names of the log at hand'."""

STATES: Final = ("unknown", "suspended", "ready", "running", "waiting")
OCCUPANTS: Final = ("isr", "asleep", "task", "switching", "idle", "unknown")
ENTRIES: Final = (
    "unknown",
    "backlog",
    "suspended",
    "isr",
    "asleep",
    "execution",
    "blocked",
    "interference",
    "inversion",
    "deferred",
    "unranked",
    "switching",
)
"""Entries of a job's ledger. 'blocked' covers both waiting for a lock and push-through."""
CHAIN_ENTRIES: Final = (*ENTRIES, "hand_over")
"""Entries of a chain's ledger: a stage's own, and the time from its end to the next begin."""
JOB_STATUS: Final = ("complete", "open", "excluded", "aborted")
INVERSION_KINDS: Final = ("direct", "push_through", "ceiling")

State = pl.Enum(STATES)
Occupant = pl.Enum(OCCUPANTS)
Entry = pl.Enum(ENTRIES)
ChainEntry = pl.Enum(CHAIN_ENTRIES)
JobStatus = pl.Enum(JOB_STATUS)
InversionKind = pl.Enum(INVERSION_KINDS)


Column = tuple[pl.DataType | type[pl.DataType], str]
"""A column's type and meaning."""


@dataclass(frozen=True, slots=True)
class Table:
    """One table's contract: what a row is, and each column's type and meaning."""

    row: str
    columns: dict[str, Column]

    def schema(self) -> dict[str, pl.DataType | type[pl.DataType]]:
        """Column → dtype, in order. `Name` marks an Enum over the log's names."""
        return {column: dtype for column, (dtype, _) in self.columns.items()}


SPAN: Final[dict[str, Column]] = {
    "start_ns": (pl.Int64, "first nanosecond of the interval"),
    "end_ns": (pl.Int64, "first nanosecond after it"),
}
