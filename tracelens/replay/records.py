"""The words of the extraction: what a record of `walk` says, and the table that it fills.

A *stream* is what one task or one handler did, in order. A record is one act of a stream, or
something that befell it.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

# What a record says; `arg` and `more` hold:
R_ACTIVATED: Final = 0  # arg: the stream that acted meanwhile on that core, -1: none
R_APPEARS: Final = 1  # first seen, or seen again after unknown time
R_START: Final = 2  # arg: what the switch cost, ns; more: LEFT, TAKEN or BLOCKED
R_LATE: Final = 3  # a start of the running task
R_PREEMPTED: Final = 4  # arg: ns before it that were the switch's already; more: who came
R_WAIT: Final = 5  # arg: the object waited for, -1: not said
R_RELEASED: Final = 6  # arg: as R_ACTIVATED; more: 1 if the log names that stream as the cause
R_TERMINATED: Final = 7
R_SUSPENDED: Final = 8
R_BREAK: Final = 9  # a stretch begins; what it had run by then
R_REQUEST: Final = 10  # arg: the lock
R_LOCK: Final = 11
R_UNLOCK: Final = 12
R_SEND: Final = 13  # arg: the queue
R_RECEIVE: Final = 14
R_TELL: Final = 15  # arg: the event's row: a mark, a stack reading, a job's boundary
R_BASE: Final = 16  # arg: whose base priority changes; more: to what
R_RAISED: Final = 17  # arg: the priority that a lock gives it
R_MASK: Final = 18  # arg: 1 sched, 0 irq; more: 1 on, 0 off
R_ENTER: Final = 19  # arg: core; more: the handler it interrupts, -1: none
R_LEAVE: Final = 20
R_PEND: Final = 21
R_RELEASES: Final = 22  # arg: the task that was released meanwhile
R_ACTIVATES: Final = 23
R_UNKNOWN: Final = 24  # arg: core; more: from when on it was unknown (until this record's time)
R_CUT: Final = 25  # a stretch ended at `more`, and the next begins at this record's time

WIDTH: Final = 7
STREAM, CODE_, ARG, TIME, RAN, MORE, ROW = range(WIDTH)
"""Columns of a record. `RAN`: own execution of the stream so far; `ROW`: the event's row."""


@dataclass(frozen=True, slots=True)
class Records:
    """The records in order of the log, one column each: streams, codes, args, times, …"""

    stream: np.ndarray
    code: np.ndarray
    arg: np.ndarray
    time: np.ndarray
    ran: np.ndarray
    more: np.ndarray
    row: np.ndarray

    def take(self, rows: np.ndarray) -> "Records":
        """Some of the records."""
        return Records(
            self.stream[rows],
            self.code[rows],
            self.arg[rows],
            self.time[rows],
            self.ran[rows],
            self.more[rows],
            self.row[rows],
        )
