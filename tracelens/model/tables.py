"""The tables that the reconstruction writes: what a row is, and every column with its unit."""

from typing import Final

import polars as pl

from tracelens.model.columns import (
    SPAN,
    Entry,
    InversionKind,
    JobStatus,
    Name,
    Occupant,
    State,
    Table,
)

TASK_STATES = Table(
    "a maximal interval of one task in one state; a task's intervals tile the span",
    {
        "task": (Name, ""),
        **SPAN,
        "state": (State, ""),
        "core": (pl.UInt8, "where it runs; null unless running"),
        "waits_for": (Name, "what a waiting task waits for; null if not said"),
    },
)
OCCUPANCY = Table(
    "a maximal interval of one core with one occupant; a core's intervals tile the span. Rows by "
    "core, then in order of time",
    {
        "core": (pl.UInt8, ""),
        **SPAN,
        "occupant": (Occupant, "an idle task's own time is 'idle'"),
        "who": (Name, "the ISR or task; null for the others"),
    },
)
JOBS = Table(
    "a job; rows in order of task, then release. `job_id` is the row's own number from 0",
    {
        "job_id": (pl.Int64, ""),
        "task": (Name, ""),
        "job": (pl.Int64, "number within its task, from 1, in order of release"),
        "release_ns": (pl.Int64, "release; for a job under way when first seen, that moment"),
        "start_ns": (pl.Int64, "first start; null if it never ran"),
        "end_ns": (pl.Int64, "completion, or abortion; for an open job the end of the log"),
        "status": (JobStatus, "complete and judged, open, excluded (unknown time), or aborted"),
        "inferred": (pl.Boolean, "its begin or end is not in the log but deduced"),
        "hidden": (pl.Int64, "activations that it swallowed: nominal releases inside the job"),
        "execution_ns": (pl.Int64, "its own known execution so far"),
        "deadline_ns": (pl.Int64, "relative deadline; null if none is declared"),
        "response_ns": (pl.Int64, "end − release; of an open job a lower bound; else null"),
        "late": (pl.Boolean, "a miss: complete or open, and response > deadline"),
        "release_part": (pl.UInt16, "where the release is recorded"),
        "release_line": (pl.UInt32, ""),
        "end_part": (pl.UInt16, "where the completion is recorded"),
        "end_line": (pl.UInt32, ""),
    },
)
EPISODES = Table(
    "a maximal interval of a job with one ledger entry; a job's episodes tile [release, end)",
    {
        "job_id": (pl.Int64, ""),
        **SPAN,
        "entry": (Entry, ""),
        "by": (Name, "who caused it: a task or an ISR; null if nobody did"),
        "via": (Name, "the lock, what it waits for, or 'mask'; null if none"),
    },
)
HOLDS = Table(
    "a time during which one task holds one lock, from its first lock to its last unlock",
    {
        "lock": (Name, ""),
        "task": (Name, "the holder; null if it took the lock outside any task"),
        **SPAN,
        "own_ns": (pl.Int64, "the holder's own execution inside"),
        "complete": (pl.Boolean, "false if the begin or the end was not seen"),
    },
)
LOCK_WAITS = Table(
    "a task's wait for a lock that another owns, from request or wait to lock or giving up",
    {
        "lock": (Name, "the lock waited for (under the original ceiling: the one in the way)"),
        "wanted": (Name, "the lock requested"),
        "task": (Name, ""),
        **SPAN,
        "spun": (pl.Boolean, "it spun instead of waiting"),
        "got": (
            pl.Boolean,
            "the lock was free, or its own, when the wait ended; it did not give up",
        ),
        "owner": (Name, "the owner when the wait began; null if not known"),
    },
)
INVERSIONS = Table(
    "a maximal time in which a task is held up by a lock of a lower one; sorted by start",
    {
        "inversion_id": (pl.Int64, "the row's own number from 0"),
        "kind": (InversionKind, ""),
        "victim": (Name, ""),
        "lock": (Name, "the lock waited for, in the way, or that raises"),
        "chain": (pl.List(pl.String), "the longest chain of holders, direct owner first"),
        **SPAN,
        "holder_ns": (pl.Int64, "the part in which the chain runs (bounded)"),
        "third_party_ns": (pl.Int64, "the part in which lower third parties ran (unbounded)"),
        "raised": (pl.Boolean, "a holder's effective priority was above its base"),
        "job_id": (pl.Int64, "the victim's job; null if it was in none"),
    },
)
THIRD_PARTIES = Table(
    "the share of one third party in one inversion",
    {
        "inversion_id": (pl.Int64, ""),
        "task": (Name, ""),
        "ns": (pl.Int64, ""),
    },
)
DEADLOCKS = Table(
    "a cycle of tasks that wait for each other's locks, at the moment it closed",
    {
        "at_ns": (pl.Int64, ""),
        "tasks": (pl.List(pl.String), "each waits for the lock that the next one owns"),
        "locks": (pl.List(pl.String), "locks[i] is what tasks[i] waits for"),
    },
)
ISR_RUNS = Table(
    "one run of an interrupt handler",
    {
        "isr": (Name, ""),
        "core": (pl.UInt8, ""),
        **SPAN,
        "own_ns": (pl.Int64, "without the handlers nested in it"),
        "pend_ns": (pl.Int64, "when it was requested; null if not recorded"),
        "complete": (pl.Boolean, "false if its begin or end was cut by a gap or the log's end"),
    },
)
QUEUE_LEVELS = Table(
    "a change of the number of items in a queue",
    {
        "queue": (Name, ""),
        "at_ns": (pl.Int64, ""),
        "items": (pl.Int64, "from there on; null: not known"),
    },
)
QUEUE_ITEMS = Table(
    "one item that was put in and taken out, first in first out",
    {
        "queue": (Name, ""),
        "send_ns": (pl.Int64, ""),
        "receive_ns": (pl.Int64, ""),
    },
)
MASKS = Table(
    "a time with interrupts masked or the scheduler locked on one core",
    {
        "core": (pl.UInt8, ""),
        "what": (pl.String, "irq or sched"),
        "who": (Name, "who masked"),
        **SPAN,
    },
)
CONTRADICTIONS = Table(
    "an act of a task while its core was known to run another: a lost switch",
    {
        "part": (pl.UInt16, ""),
        "line": (pl.UInt32, ""),
        "core": (pl.UInt8, ""),
        "ran": (Name, "who was taken to run"),
        "acted": (Name, "who acted"),
        **SPAN,
    },
)
REPAIRS = Table(
    "a place where the log was mended: an ISR without leave, a wake that was not written, …",
    {
        "part": (pl.UInt16, ""),
        "line": (pl.UInt32, ""),
        "reason": (pl.String, "the same words for every repair of that kind"),
    },
)

RECONSTRUCTED: Final = {
    "task_states": TASK_STATES,
    "occupancy": OCCUPANCY,
    "jobs": JOBS,
    "episodes": EPISODES,
    "holds": HOLDS,
    "lock_waits": LOCK_WAITS,
    "inversions": INVERSIONS,
    "third_parties": THIRD_PARTIES,
    "deadlocks": DEADLOCKS,
    "isr_runs": ISR_RUNS,
    "queue_levels": QUEUE_LEVELS,
    "queue_items": QUEUE_ITEMS,
    "masks": MASKS,
    "contradictions": CONTRADICTIONS,
    "repairs": REPAIRS,
}
"""Name → contract of each table in `model.results.Timeline`."""
