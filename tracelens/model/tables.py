"""The columns of every derived table, with their units: the contract between the stages.

Times are integer nanoseconds from the first event of the log; intervals are half-open
[start_ns, end_ns). A `Name` column holds names, never ids; it is stored as an Enum over the names
of that log (physical value = index of the thing), so comparing with a string works. `core` is the
integer of the log. A share is a Float64 from 0 to 1. Null means 'there is none' or 'not known'.

The first group is what the reconstruction writes; the second is what the measures make of it.
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
JOB_STATUS: Final = ("complete", "open", "excluded", "aborted")
INVERSION_KINDS: Final = ("direct", "push_through", "ceiling")

State = pl.Enum(STATES)
Occupant = pl.Enum(OCCUPANTS)
Entry = pl.Enum(ENTRIES)
JobStatus = pl.Enum(JOB_STATUS)
InversionKind = pl.Enum(INVERSION_KINDS)


@dataclass(frozen=True, slots=True)
class Table:
    """One table's contract: what a row is, and each column's type and meaning."""

    row: str
    columns: dict[str, tuple[pl.DataType | type[pl.DataType], str]]

    def schema(self) -> dict[str, pl.DataType | type[pl.DataType]]:
        """Column → dtype, in order. `Name` marks an Enum over the log's names."""
        return {column: dtype for column, (dtype, _) in self.columns.items()}


_SPAN = {
    "start_ns": (pl.Int64, "first nanosecond of the interval"),
    "end_ns": (pl.Int64, "first nanosecond after it"),
}

# ---------------------------------------------------------------- written by the reconstruction

TASK_STATES = Table(
    "a maximal interval of one task in one state; a task's intervals tile the span",
    {
        "task": (Name, ""),
        **_SPAN,
        "state": (State, ""),
        "core": (pl.UInt8, "where it runs; null unless running"),
        "waits_for": (Name, "what a waiting task waits for; null if not said"),
    },
)
OCCUPANCY = Table(
    "a maximal interval of one core with one occupant; a core's intervals tile the span",
    {
        "core": (pl.UInt8, ""),
        **_SPAN,
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
        **_SPAN,
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
        **_SPAN,
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
        **_SPAN,
        "spun": (pl.Boolean, "it spun instead of waiting"),
        "got": (pl.Boolean, "it ended with the lock, not with giving up, a gap or the log's end"),
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
        **_SPAN,
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
        **_SPAN,
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
        **_SPAN,
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
        **_SPAN,
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

# ---------------------------------------------------------------------- made by the measures


def _statistics(prefix: str, what: str, *names: str) -> dict[str, tuple[type[pl.DataType], str]]:
    """Columns `{prefix}_{name}_ns`, null where nothing was observed."""
    return {f"{prefix}_{name}_ns": (pl.Int64, f"{name} of {what}") for name in names}


_FIVE = ("min", "mean", "p50", "p95", "p99", "max")

CORE_LOAD = Table(
    "a core",
    {
        "core": (pl.UInt8, ""),
        "name": (pl.String, ""),
        "load": (pl.Float64, "1 − (idle + asleep) / known time; null if nothing is known"),
        "load_low": (pl.Float64, "the same if all unknown time was idle"),
        "load_high": (pl.Float64, "the same if all unknown time was busy"),
        "peak_window_ns": (pl.Int64, "the window over which the peak is taken"),
        "peak_load": (pl.Float64, "highest load of any window at least half known"),
        "peak_at_ns": (pl.Int64, "start of the first such window"),
        "isr": (pl.Float64, "share of the span"),
        "task": (pl.Float64, "share of the span"),
        "idle": (pl.Float64, "share of the span"),
        "asleep": (pl.Float64, "share of the span"),
        "switching": (pl.Float64, "share of the span"),
        "unknown": (pl.Float64, "share of the span"),
        "wakeups": (pl.Int64, "times that it woke"),
    },
)
TASK_SUMMARY = Table(
    "a task, most urgent first; idle tasks last",
    {
        "task": (pl.String, ""),
        "priority": (pl.Int64, "base priority as declared or last seen; null if never told"),
        "idle": (pl.Boolean, ""),
        "load": (pl.Float64, "occupation / known time of one core"),
        "execution_ns": (pl.Int64, "in all known time, start-up and excluded jobs too"),
        **_statistics("job_execution", "the judged jobs' execution", "min", "mean", "max"),
        "jobs": (pl.Int64, "complete and judged"),
        "jobs_open": (pl.Int64, ""),
        "jobs_excluded": (pl.Int64, ""),
        "jobs_aborted": (pl.Int64, ""),
        "jobs_inferred": (pl.Int64, "judged jobs whose begin or end is deduced"),
        "hidden": (pl.Int64, "activations swallowed by judged jobs"),
        **_statistics("response", "the judged jobs' response times", *_FIVE),
        **_statistics("start_latency", "first start − release", *_FIVE),
        "release_jitter_ns": (pl.Int64, "largest − smallest distance of releases from the grid"),
        "deadline_ns": (pl.Int64, "null if none is declared"),
        "deadline_misses": (pl.Int64, "late jobs, open ones that are late already included"),
        "longest_miss_run": (pl.Int64, "most consecutive misses"),
        "worst_10": (pl.Int64, "most misses in any 10 consecutive jobs"),
        "worst_job_id": (pl.Int64, "job of the longest response; null if none was judged"),
        "stack_size_bytes": (pl.Int64, ""),
        "stack_least_free_bytes": (pl.Int64, ""),
        "stack_headroom": (pl.Float64, "least free bytes / size"),
        "stack_still_falling": (pl.Boolean, "it fell in the last third of the run"),
    },
)
ISR_SUMMARY = Table(
    "an interrupt handler",
    {
        "isr": (pl.String, ""),
        "count": (pl.Int64, "runs"),
        "load": (pl.Float64, "own time / known time of one core"),
        "execution_ns": (pl.Int64, "own time in all runs"),
        **_statistics("run", "own time of a run", "min", "mean", "max"),
        **_statistics("latency", "pend to enter", *_FIVE),
    },
)
LOCK_SUMMARY = Table(
    "a lock",
    {
        "lock": (pl.String, ""),
        "protocol": (pl.String, "none, inherit or ceiling; null if not declared"),
        "holds": (pl.Int64, ""),
        **_statistics("hold", "a hold on the wall", "max", "mean"),
        "own_max_ns": (pl.Int64, "most own execution of an owner inside one hold"),
        "contentions": (pl.Int64, "waits for it"),
        "wait_max_ns": (pl.Int64, ""),
        "wait_total_ns": (pl.Int64, ""),
    },
)
QUEUE_SUMMARY = Table(
    "a queue",
    {
        "queue": (pl.String, ""),
        "depth": (pl.Int64, "null if not declared"),
        "most_items": (pl.Int64, ""),
        "most_at_ns": (pl.Int64, "when that was first so"),
        "sends": (pl.Int64, ""),
        "receives": (pl.Int64, ""),
        **_statistics("item_wait", "send to receive", *_FIVE),
    },
)
CHAIN_SUMMARY = Table(
    "a declared chain",
    {
        "chain": (pl.String, ""),
        "path": (pl.List(pl.String), ""),
        "instances": (pl.Int64, "complete ones"),
        **_statistics("latency", "first stage to completion of the last", *_FIVE),
        "deadline_ns": (pl.Int64, ""),
        "deadline_misses": (pl.Int64, ""),
    },
)
CHAIN_INSTANCES = Table(
    "one complete instance of a chain",
    {
        "chain": (pl.String, ""),
        **_SPAN,
        "latency_ns": (pl.Int64, ""),
        "late": (pl.Boolean, "null if the chain has no deadline"),
        "stage_ns": (pl.List(pl.Int64), "when each stage began, in order of the path"),
    },
)
LEDGERS = Table(
    "one ledger entry of one late job, summed",
    {
        "job_id": (pl.Int64, ""),
        "entry": (Entry, ""),
        "by": (pl.String, ""),
        "via": (pl.String, ""),
        "ns": (pl.Int64, ""),
    },
)
PHASES = Table(
    "one phase that the application marked",
    {
        "phase": (pl.String, ""),
        **_SPAN,
    },
)
SLEEP = Table(
    "a core that slept",
    {
        "core": (pl.UInt8, ""),
        "asleep_ns": (pl.Int64, ""),
        "wakeups": (pl.Int64, ""),
        "wakeups_per_s": (pl.Float64, "of known time"),
        "woken_by": (pl.List(pl.String), "who occupied the core next, most often first"),
        "woken_count": (pl.List(pl.Int64), "how often, in the same order"),
    },
)
MASKED = Table(
    "masking on one core",
    {
        "core": (pl.UInt8, ""),
        "what": (pl.String, "irq or sched"),
        "count": (pl.Int64, ""),
        "longest_ns": (pl.Int64, ""),
        "total_ns": (pl.Int64, ""),
        "longest_who": (pl.String, ""),
        "longest_at_ns": (pl.Int64, ""),
    },
)
LOAD_WINDOWS = Table(
    "one core, or one task, in one window of a grid",
    {
        "core": (pl.UInt8, ""),
        "who": (pl.String, "the task or ISR; null for the core as a whole"),
        **_SPAN,
        "load": (pl.Float64, "of the window's known time; null if nothing is known"),
    },
)

MEASURED: Final = {
    "cores": CORE_LOAD,
    "tasks": TASK_SUMMARY,
    "isrs": ISR_SUMMARY,
    "locks": LOCK_SUMMARY,
    "queues": QUEUE_SUMMARY,
    "chains": CHAIN_SUMMARY,
    "chain_instances": CHAIN_INSTANCES,
    "ledgers": LEDGERS,
    "phases": PHASES,
    "sleep": SLEEP,
    "masked": MASKED,
}
"""Name → contract of each table that the measures add (`model.results.Analysis`)."""
