"""The tables that the measures make: what a row is, and every column with its unit."""

from typing import Final

import polars as pl

from tracelens.model.columns import SPAN, ChainEntry, Column, Entry, Table


def _statistics(prefix: str, what: str, *names: str) -> dict[str, Column]:
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
        "instance": (pl.Int64, "number within its chain, from 1, in order of its end"),
        **SPAN,
        "latency_ns": (pl.Int64, ""),
        "late": (pl.Boolean, "null if the chain has no deadline"),
        "stage_ns": (pl.List(pl.Int64), "when each stage began, in order of the path"),
        "stage_end_ns": (
            pl.List(pl.Int64),
            "when each stage's work was done: of a mark that of the job that wrote it",
        ),
        "stage_job": (pl.List(pl.Int64), "the job at work; null for a handler"),
    },
)
CHAIN_LEDGERS = Table(
    "one ledger entry of one stage of an instance that was late, or its chain's slowest, summed",
    {
        "chain": (pl.String, ""),
        "instance": (pl.Int64, ""),
        "position": (pl.Int64, "the stage's place in the path, from 0"),
        "stage": (pl.String, ""),
        "from_ns": (pl.Int64, "when the stage's part of the latency begins"),
        "entry": (ChainEntry, "of the stage's own ledger, or the hand-over to the next stage"),
        "by": (pl.String, ""),
        "via": (pl.String, ""),
        "ns": (pl.Int64, ""),
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
        **SPAN,
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
POWER = Table(
    "what the run drew in all: one row, where currents are declared",
    {
        "known_ns": (pl.Int64, "known time of one core"),
        "charge_uc": (pl.Float64, "of all cores, µC"),
        "average_ma": (pl.Float64, ""),
        "battery_h": (pl.Float64, "hours that the declared battery lasts; null without one"),
        "wakeups": (pl.Int64, ""),
        "wakeups_per_s": (pl.Float64, "of known time"),
    },
)
CHARGES = Table(
    "the charge that somebody or some state of a core cost, where currents are declared",
    {
        "name": (pl.String, "a task, a handler, or the state"),
        "kind": (pl.String, "task, handler, switching, idle, sleep or wake-ups"),
        "ns": (pl.Int64, "time on all cores"),
        "charge_uc": (pl.Float64, "µC"),
        "share": (pl.Float64, "of all charge"),
        "jobs": (pl.Int64, "complete ones; null for what has none"),
        "per_job_uc": (pl.Float64, "charge / jobs, µC"),
        "wakeups": (pl.Int64, "wake-ups after which it was next on the core; null for states"),
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
        **SPAN,
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
    "chain_ledgers": CHAIN_LEDGERS,
    "ledgers": LEDGERS,
    "phases": PHASES,
    "sleep": SLEEP,
    "masked": MASKED,
    "power": POWER,
    "charges": CHARGES,
}
"""Name → contract of each table that the measures add (`model.results.Analysis`)."""
