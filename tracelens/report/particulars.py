"""The measures, a section a table: what is shown of each, under which heads."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import polars as pl

from tracelens.model.results import Analysis
from tracelens.numbers import duration
from tracelens.report.blocks import Column, Section
from tracelens.report.rows import MOST_ROWS, left_out, most_telling, names_of, table

START_AFTER: Final = "longest time from a release to the first start"
JITTER: Final = "largest less smallest distance of a release from the grid of the period"
EXCLUDED: Final = "touching unknown time, or under way when the log begins"
STILL_FALLING: Final = "it fell in the last third of the run, so the least free is no bound"

MOST_CHARGES: Final = 12
"""So many of the costliest are shown; --json has all."""

Frame = Callable[[Analysis], pl.DataFrame]


@dataclass(frozen=True, slots=True)
class Particular:
    """One section: its rows, columns and note. Without rows there is no section."""

    title: str
    frame: Frame
    columns: dict[str, Column]
    note: str | Callable[[Analysis], str] = ""
    of_tasks: bool = False  # of too many rows the most telling are kept, not the first

    def section(self, analysis: Analysis) -> Section | None:
        """The section, or None where there is nothing to show."""
        every = self.frame(analysis)
        if every.is_empty():
            return None
        shown = most_telling(every) if self.of_tasks else every.head(MOST_ROWS)
        which = "most telling" if self.of_tasks else "first"
        note = self.note if isinstance(self.note, str) else self.note(analysis)
        cut = left_out(shown.height, every.height, "rows", which)
        return Section(self.title, (table(shown, self.columns, note=f"{cut}{note}"),))


def with_jobs(analysis: Analysis) -> pl.DataFrame:
    """The tasks that have jobs, complete or open."""
    return analysis.tasks.filter((pl.col("jobs") > 0) | (pl.col("jobs_open") > 0))


def _without_deadline(analysis: Analysis) -> str:
    tasks = with_jobs(analysis).filter(pl.col("deadline_ns").is_null() & ~pl.col("idle"))
    if tasks.is_empty():
        return ""
    names = names_of(tasks["task"].to_list())
    return f"No deadline is declared for {names}: never counted as late."


def _doubtful(analysis: Analysis) -> pl.DataFrame:
    columns = ("jobs_open", "jobs_excluded", "jobs_aborted", "jobs_inferred", "hidden")
    return analysis.tasks.filter(pl.any_horizontal(pl.col(columns) > 0))


def _cores(analysis: Analysis) -> pl.DataFrame:
    """Where all is known the load has no bounds but itself."""
    bounds = pl.col("load_low", "load_high")
    return analysis.cores.with_columns(pl.when(pl.col("unknown") > 0).then(bounds))


def _peak(analysis: Analysis) -> str:
    windows = analysis.cores["peak_window_ns"].drop_nulls()
    return "" if windows.is_empty() else f"peak: the busiest {duration(windows[0])}."


def _stacks(analysis: Analysis) -> pl.DataFrame:
    known = analysis.tasks.filter(pl.col("stack_least_free_bytes").is_not_null())
    return known.sort("stack_headroom", nulls_last=True, maintain_order=True)


def _phases(analysis: Analysis) -> pl.DataFrame:
    return analysis.phases.group_by("phase", maintain_order=True).agg(
        times=pl.len(),
        first_ns=pl.col("start_ns").min(),
        total_ns=(pl.col("end_ns") - pl.col("start_ns")).sum(),
    )


PARTICULARS: Final = (
    Particular(
        "Response times",
        with_jobs,
        {
            "task": Column("task"),
            "priority": Column("priority", "count"),
            "jobs": Column("jobs", "count"),
            "response_p50_ns": Column("median", "time"),
            "response_p95_ns": Column("p95", "time"),
            "response_max_ns": Column("largest", "time"),
            "deadline_ns": Column("deadline", "time"),
            "deadline_misses": Column("late", "count"),
            "longest_miss_run": Column(
                "streak", "count", rare=True, means="most late jobs in a row"
            ),
        },
        _without_deadline,
        of_tasks=True,
    ),
    Particular(
        "Cores",
        _cores,
        {
            "name": Column("core"),
            "load": Column("load", "share"),
            "load_low": Column(
                "from", "share", rare=True, means="the load if all unknown time was idle"
            ),
            "load_high": Column("to", "share", rare=True, means="the load if all of it was busy"),
            "peak_load": Column("peak", "share"),
            "peak_at_ns": Column("peak at", "moment"),
            "idle": Column("idle", "share"),
            "asleep": Column("asleep", "share", rare=True),
            "switching": Column("switch", "share"),
            "unknown": Column("unknown", "share", rare=True),
        },
        _peak,
    ),
    Particular(
        "Tasks",
        lambda analysis: analysis.tasks.filter(~pl.col("idle")),
        {
            "task": Column("task"),
            "load": Column("load", "share"),
            "job_execution_mean_ns": Column("mean run", "time", "run"),
            "job_execution_max_ns": Column("longest", "time", "run"),
            "start_latency_max_ns": Column("start after", "time", "start", means=START_AFTER),
            "release_jitter_ns": Column("jitter", "time", "jitter", rare=True, means=JITTER),
        },
        of_tasks=True,
    ),
    Particular(
        "Jobs that were not judged, or not whole in the log",
        _doubtful,
        {
            "task": Column("task"),
            "jobs": Column("judged", "count"),
            "jobs_open": Column("open", "count", means="not complete when the log ends"),
            "jobs_excluded": Column("excluded", "count", means=EXCLUDED),
            "jobs_aborted": Column("aborted", "count"),
            "jobs_inferred": Column(
                "inferred", "count", means="judged, but begin or end is deduced"
            ),
            "hidden": Column(
                "hidden", "count", means="activations swallowed by a job that never waited"
            ),
        },
        of_tasks=True,
    ),
    Particular(
        "Interrupt handlers",
        lambda analysis: analysis.isrs,
        {
            "isr": Column("handler"),
            "count": Column("runs", "count"),
            "load": Column("load", "share"),
            "run_mean_ns": Column("mean run", "time"),
            "run_max_ns": Column("longest", "time"),
            "latency_p95_ns": Column("latency p95", "time", rare=True, means="from the request on"),
            "latency_max_ns": Column("latency largest", "time", rare=True),
        },
    ),
    Particular(
        "Locks",
        lambda analysis: analysis.locks,
        {
            "lock": Column("lock"),
            "protocol": Column("protocol"),
            "holds": Column("holds", "count"),
            "hold_mean_ns": Column("mean hold", "time"),
            "hold_max_ns": Column("longest", "time"),
            "own_max_ns": Column(
                "own run", "time", means="most execution of the owner itself inside one hold"
            ),
            "contentions": Column("waits", "count"),
            "wait_max_ns": Column("longest wait", "time"),
        },
    ),
    Particular(
        "Queues",
        lambda analysis: analysis.queues,
        {
            "queue": Column("queue"),
            "depth": Column("depth", "count"),
            "most_items": Column("most items", "count"),
            "most_at_ns": Column("first at", "moment"),
            "sends": Column("sent", "count"),
            "receives": Column("received", "count"),
            "item_wait_p50_ns": Column("median wait", "time"),
            "item_wait_max_ns": Column("longest", "time"),
        },
    ),
    Particular(
        "Chains",
        lambda analysis: analysis.chains.with_columns(pl.col("path").list.join(" → ")),
        {
            "chain": Column("chain"),
            "path": Column("path"),
            "instances": Column("seen", "count"),
            "latency_p50_ns": Column("median", "time"),
            "latency_max_ns": Column("largest", "time"),
            "deadline_ns": Column("deadline", "time"),
            "deadline_misses": Column("late", "count"),
        },
    ),
    Particular(
        "Stacks, the thinnest first",
        _stacks,
        {
            "task": Column("task"),
            "stack_size_bytes": Column("size", "bytes"),
            "stack_least_free_bytes": Column("least free", "bytes"),
            "stack_headroom": Column("headroom", "share"),
            "stack_still_falling": Column("still falling", "flag", rare=True, means=STILL_FALLING),
        },
    ),
    Particular(
        "Interrupts masked, scheduler locked",
        lambda analysis: analysis.masked,
        {
            "core": Column("core", "count"),
            "what": Column("what"),
            "count": Column("times", "count"),
            "longest_ns": Column("longest", "time"),
            "longest_who": Column("by"),
            "longest_at_ns": Column("at", "moment"),
            "total_ns": Column("in all", "time", "total"),
        },
    ),
    Particular(
        "Sleep",
        lambda analysis: analysis.sleep.with_columns(
            pl.col("woken_by").list.head(4).list.join(", ")
        ),
        {
            "core": Column("core", "count"),
            "asleep_ns": Column("asleep", "time"),
            "wakeups": Column("wake-ups", "count"),
            "woken_by": Column("next on the core, most often first"),
        },
    ),
    Particular(
        "Power",
        lambda analysis: analysis.power,
        {
            "average_ma": Column("average mA", "number"),
            "battery_h": Column("battery h", "number"),
            "charge_uc": Column("charge µC", "number"),
            "wakeups": Column("wake-ups", "count"),
            "wakeups_per_s": Column("a second", "number"),
        },
        "From the currents that the system file declares; the board's other parts are not in it.",
    ),
    Particular(
        "Charge, the costliest first",
        lambda analysis: analysis.charges.head(MOST_CHARGES),
        {
            "name": Column("what"),
            "kind": Column("kind"),
            "ns": Column("time", "time"),
            "charge_uc": Column("charge µC", "number"),
            "share": Column("share", "share"),
            "per_job_uc": Column("a job µC", "number"),
            "wakeups": Column("wake-ups", "count", means="after which it was next on the core"),
        },
    ),
    Particular(
        "Phases",
        _phases,
        {
            "phase": Column("phase"),
            "times": Column("times", "count"),
            "first_ns": Column("first at", "moment"),
            "total_ns": Column("in all", "time"),
        },
        "Measure one of them with --phase.",
    ),
)
"""Every section of measures, in the order of a report."""


def particulars(analysis: Analysis) -> tuple[Section, ...]:
    """The sections that have something to show."""
    sections = (particular.section(analysis) for particular in PARTICULARS)
    return tuple(section for section in sections if section is not None)
