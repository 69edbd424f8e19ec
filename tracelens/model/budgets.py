"""What a run is held against: every measure that can have a limit, and the limits given.

A measure's key says what it is, which statistic, and the unit: `response_p99_us`. A key that ends
in `_min` (before its unit) sets a least value; any other a greatest one. A value equal to its
limit meets it.
"""

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Final, Literal

Unit = Literal["us", "share", "count", "bytes", "per_s"]
Severity = Literal["error", "warning", "note"]

SEVERITIES: Final[tuple[Severity, ...]] = ("error", "warning", "note")
"""Only an error decides whether a run passes; the others are told."""


@dataclass(frozen=True, slots=True)
class Measure:
    """One thing that can be limited. `series` and `statistic` of a sample of like values."""

    key: str
    unit: Unit
    means: str
    least: bool = False  # the limit is the least that is allowed, not the most
    series: str = ""
    statistic: str = ""

    @property
    def patterned(self) -> bool:
        """Whether the limit may be 'at most m of any k consecutive'."""
        return self.key == "misses"


def _sample(series: str, what: str, *statistics: str) -> list[Measure]:
    """The statistics of a sample of times, each a measure; the least is held from below."""
    return [
        Measure(f"{series}_{name}_us", "us", f"{_SAID[name]} {what}", name == "min", series, name)
        for name in statistics
    ]


_SAID: Final = {
    "min": "shortest",
    "mean": "mean",
    "p50": "median",
    "p95": "95th percentile of the",
    "p99": "99th percentile of the",
    "max": "longest",
}
_SIX: Final = tuple(_SAID)


def _keyed(*measures: Measure | list[Measure]) -> dict[str, Measure]:
    flat = [one for some in measures for one in (some if isinstance(some, list) else [some])]
    return {one.key: one for one in flat}


MEASURES: Final[dict[str, dict[str, Measure]]] = {
    "tasks": _keyed(
        _sample("response", "response time of a job", *_SIX),
        _sample("execution", "own execution of a job", "min", "mean", "max"),
        _sample("start_latency", "time from a release to the first start", *_SIX),
        Measure(
            "release_jitter_max_us",
            "us",
            "largest less smallest distance of a release from the grid of the period",
        ),
        Measure("misses", "count", "deadlines missed; or in any so many consecutive jobs"),
        Measure("miss_run_max", "count", "deadlines missed one after another"),
        Measure("jobs_min", "count", "jobs judged", least=True),
        Measure("jobs_open_max", "count", "jobs not complete when the log ends"),
        Measure("jobs_excluded_max", "count", "jobs not judged, for part of them is unknown"),
        Measure("jobs_aborted_max", "count", "jobs that were killed or suspended for good"),
        Measure("jobs_inferred_max", "count", "jobs whose begin or end is deduced"),
        Measure("hidden_max", "count", "activations swallowed by jobs that never waited"),
        Measure("load_max", "share", "share of one core that the task takes"),
        Measure("stack_free_min_bytes", "bytes", "least free bytes of the stack", least=True),
        Measure("stack_headroom_min", "share", "least free bytes / size of the stack", least=True),
        Measure("inversion_max_us", "us", "longest time held up by a lock of a lower task"),
        Measure(
            "inversion_unbounded_max_us",
            "us",
            "longest part of such a time in which lower tasks without part in it ran",
        ),
    ),
    "cores": _keyed(
        Measure("load_max", "share", "share of the time that the core is neither idle nor asleep"),
        Measure("peak_load_max", "share", "load over the busiest 100 ms"),
        Measure("isr_share_max", "share", "share of the time in interrupt handlers"),
        Measure("task_share_max", "share", "share of the time in tasks"),
        Measure("switching_share_max", "share", "share of the time that the kernel takes"),
        Measure("idle_share_min", "share", "share of the time idle", least=True),
        Measure("asleep_share_min", "share", "share of the time asleep", least=True),
        Measure("unknown_share_max", "share", "share of the time that the log does not tell"),
        Measure("wakeups_per_s_max", "per_s", "times a second that the core wakes"),
        Measure("irq_masked_max_us", "us", "longest time with interrupts masked"),
        Measure("sched_masked_max_us", "us", "longest time with the scheduler locked"),
    ),
    "isrs": _keyed(
        _sample("run", "own time of a run", "min", "mean", "max"),
        _sample("latency", "time from the request to the handler's begin", *_SIX),
        Measure("runs_min", "count", "runs", least=True),
        Measure("runs_max", "count", "runs"),
        Measure("load_max", "share", "share of one core that the handler takes"),
    ),
    "locks": _keyed(
        _sample("hold", "time that the lock is held", "mean", "max"),
        _sample("own", "execution of the holder itself inside one hold", "max"),
        _sample("wait", "wait for the lock", "max"),
        Measure("wait_total_max_us", "us", "all waits for the lock together"),
        Measure("contentions_max", "count", "waits for the lock"),
        Measure("holds_min", "count", "times held", least=True),
        Measure("deadlocks_max", "count", "deadlocks that the lock has part in"),
    ),
    "queues": _keyed(
        _sample("item_wait", "time that an item waits to be taken out", *_SIX),
        Measure("most_items_max", "count", "most items at any time"),
        Measure("fill_max", "share", "most items / depth"),
        Measure("sends_min", "count", "items put in", least=True),
        Measure("receives_min", "count", "items taken out", least=True),
    ),
    "chains": _keyed(
        _sample("latency", "time from the first stage to the end of the last", *_SIX),
        Measure("misses", "count", "instances late; or of any so many consecutive ones"),
        Measure("instances_min", "count", "complete instances", least=True),
    ),
    "log": _keyed(
        Measure("coverage_min", "share", "known core time / core time", least=True),
        Measure("duration_min_us", "us", "length of the run", least=True),
        Measure("events_min", "count", "events", least=True),
        Measure("lost_events_max", "count", "events that the target reports lost"),
        Measure("contradictions_max", "count", "signs of a switch that was not recorded"),
        Measure("repairs_max", "count", "places where the log was mended"),
        Measure("unused_lines_max", "count", "lines that could not be used"),
        Measure("boots_max", "count", "times that the target started"),
    ),
    "phases": _keyed(
        Measure("duration_max_us", "us", "longest occurrence of the phase"),
        Measure("duration_min_us", "us", "shortest occurrence of the phase", least=True),
        Measure("occurrences_min", "count", "times that the phase occurs", least=True),
        Measure("occurrences_max", "count", "times that the phase occurs"),
    ),
}
"""Group of things → key → measure. A group is a table `[budgets.GROUP.NAME]`; `log` has no names;
`phases` are both things of their own and the windows of other budgets."""

THING: Final = {
    "tasks": "task",
    "cores": "core",
    "isrs": "interrupt handler",
    "locks": "lock",
    "queues": "queue",
    "chains": "chain",
    "log": "log",
    "phases": "phase",
}
"""Group → what one of it is called."""


@dataclass(frozen=True, slots=True)
class Waiver:
    """A breach that is put up with, up to and including the day `until`."""

    until: date
    reason: str


@dataclass(frozen=True, slots=True)
class Budget:
    """One limit on one measure of every thing that `name` meets.

    `limit` is in ns where the measure's unit is µs, else in its own unit. `of` is the k of 'at
    most m of any k consecutive', else None. `phase` None is the whole window. `line` is that of
    the file.
    """

    group: str
    name: str  # a name, or a glob; '' for the log
    measure: Measure
    limit: float
    of: int | None = None
    phase: str | None = None
    severity: Severity = "error"
    reason: str = ""
    waiver: Waiver | None = None
    line: int | None = None

    @property
    def table(self) -> str:
        """The table of the file that it stands in."""
        return dotted(["budgets", *table_path(self.group, self.name, self.phase)])


def dotted(path: Iterable[str]) -> str:
    """A path of keys as TOML writes it: what is no bare key stands in quotes."""
    return ".".join(
        key if _BARE.fullmatch(key) else json.dumps(key, ensure_ascii=False) for key in path
    )


_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")


def table_path(group: str, name: str, phase: str | None) -> list[str]:
    """The keys below `budgets` that lead to a table of limits."""
    path = [] if phase is None or group == "phases" else ["phases", phase]
    return [*path, group, *([name] if name else [])]


@dataclass(frozen=True, slots=True)
class Budgets:
    """Everything under [budgets] of one file.

    `tolerated_loss` is the share of a task's jobs and time, or of the core time, that may be
    unknown without leaving a verdict open. `thresholds` replaces thresholds of the findings.
    """

    limits: tuple[Budget, ...] = ()
    tolerated_loss: float = 0.0
    thresholds: dict[str, float] = field(default_factory=dict)
    place: str = ""

    def phases(self) -> Iterable[str | None]:
        """The windows that the limits ask for, each once, in order; None is the whole."""
        return dict.fromkeys(b.phase for b in self.limits)
