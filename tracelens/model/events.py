"""The event log's words and the event table's columns.

The words of the task model are the transition names of ISO 17356-3 (OSEK OS); the others are
the trade's own. `sample_traces/FORMAT.md` is the document for people who write such logs.
"""

from typing import Final

import polars as pl

EVENT_WORDS: Final = (
    "activate",
    "start",
    "preempt",
    "wait",
    "release",
    "terminate",
    "suspend",
    "arrive",
    "finish",
    "enter",
    "leave",
    "pend",
    "mask",
    "unmask",
    "request",
    "lock",
    "unlock",
    "send",
    "receive",
    "priority",
    "stack",
    "sleep",
    "wake",
    "mark",
    "lost",
)
"""Every event word of the format, version 1. A word's position is its code in the event table."""

CODE: Final = {word: code for code, word in enumerate(EVENT_WORDS)}
"""Event word → its code (the physical value of the `event` column)."""

EVENT: Final = pl.Enum(EVENT_WORDS)

NO_TASK: Final = "-"
"""The subject that stands for 'no task': before the scheduler started, outside any task."""

HEADER: Final = "time,core,event,subject,value"

_EVENTS: dict[str, pl.DataType | type[pl.DataType]] = {
    "part": pl.UInt16,  # index into Log.sources: the file that the line stands in
    "line": pl.UInt32,  # 1-based line number in that file
    "boot": pl.UInt16,  # 0 for the first boot; a restart of the target counts one up
    "time_ns": pl.Int64,  # from the first event of the log, boots laid end to end
    "core": pl.UInt8,
    "event": EVENT,
    "subject": pl.Categorical(),  # the token as written (an id, or a word for itself)
    "value": pl.Categorical(),  # the token as written; null where empty
}
EVENTS: Final = pl.Schema(_EVENTS)
"""The event table: one row an event, in order of time; rows of equal time keep the log's order."""
