"""What came late, and why: late jobs with their ledgers, priority inversions, deadlocks."""

from typing import Final

import polars as pl

from tracelens.model.results import Analysis
from tracelens.report import selection
from tracelens.report.blocks import Block, Column, Paragraph, Section, Table
from tracelens.report.rows import MOST_ROWS, left_out, table

WORST: Final = 8
"""So many late jobs, and so many inversions, are shown one by one."""

STILL_OPEN: Final = "not complete when the log ends, so the response is a lower bound"
UNBOUNDED: Final = (
    "the part in which less urgent tasks that own none of these locks ran; the rest is bounded by "
    "the owners' critical sections"
)

KIND_MEANS: Final = {
    "direct": "it waited for a lock that another held",
    "push-through": "it was ready, and a lower task ran that a lock had raised",
    "ceiling": "it was refused a free lock",
}
"""Kind of a priority inversion → what it says, in words."""

LEAST_SHARE: Final = 0.01
"""Of a chain's latency: smaller entries are not shown one by one."""

HAND_OVER: Final = "the stage's work was done, and the next stage had not begun"

ENTRY_MEANS: Final = {
    "execution": "it ran",
    "interference": "a task at least as urgent had the core",
    "blocked": "a lock of a less urgent task was in the way",
    "inversion": "it waited for a lock while a less urgent task without part in it ran",
    "isr": "an interrupt handler had the core",
    "deferred": "it was ready, and a less urgent task kept the core",
    "suspended": "it waited for something that is not a lock",
    "backlog": "the task's own earlier job was not complete",
    "switching": "nobody had the core: the kernel's own time",
    "asleep": "the core slept",
    "unranked": "a task of unknown priority had the core",
    "unknown": "the log does not tell",
}
"""Ledger entry → what it says about the job, in words."""


def late_jobs(analysis: Analysis) -> Section | None:
    """The jobs that were late by most, and where the response of the worst of each task went."""
    late = selection.late_jobs(analysis).sort("lateness_ns", descending=True, maintain_order=True)
    if late.is_empty():
        return None
    shown = late.head(WORST)
    listed = table(
        shown.with_columns(open=pl.col("status") == "open"),
        {
            "task": Column("task"),
            "job": Column("job", "count"),
            "release_ns": Column("released at", "moment"),
            "response_ns": Column("response", "time"),
            "deadline_ns": Column("deadline", "time"),
            "lateness_ns": Column("late by", "time"),
            "open": Column("still open", "flag", rare=True, means=STILL_OPEN),
        },
        note=left_out(shown.height, late.height, "late jobs", "worst"),
    )
    return Section("Late jobs, the worst first", (listed, *_accounts(analysis, late)))


def _accounts(analysis: Analysis, late: pl.DataFrame) -> tuple[Block, ...]:
    """The ledger of the worst job of each task, largest entry first, and what entries mean."""
    worst = late.unique("task", keep="first", maintain_order=True).head(WORST // 2)
    entries = (
        worst.with_row_index("rank")
        .select("rank", "job_id", "task", "job", "response_ns")
        .join(analysis.ledgers, on="job_id", maintain_order="left_right")
        .sort("rank", "ns", descending=[False, True], maintain_order=True)
        .with_columns(
            name=pl.when(pl.col("rank").is_first_distinct())
            .then(pl.format("{} {}", "task", "job"))
            .otherwise(pl.lit("")),
            share=pl.col("ns") / pl.col("response_ns"),
        )
    )
    listed = table(
        entries,
        {
            "name": Column("job"),
            "entry": Column("entry"),
            "by": Column("by"),
            "via": Column("via"),
            "ns": Column("time", "time"),
            "share": Column("share", "share"),
        },
    )
    met = set(entries["entry"].cast(pl.String))
    words = "; ".join(f"{entry}: {means}" for entry, means in ENTRY_MEANS.items() if entry in met)
    return (
        Paragraph("Where the response of the worst job of each task went:"),
        listed,
        Paragraph(f"{words}."),
    )


def late_chains(analysis: Analysis) -> Section | None:
    """Where the latency of the slowest instance of each late chain went, stage by stage."""
    late = analysis.chains.filter(pl.col("deadline_misses") > 0).select("chain")
    slowest = late.join(
        selection.slowest_instances(analysis), on="chain", maintain_order="left"
    ).head(WORST // 2)
    if slowest.is_empty():
        return None
    entries = (
        slowest.select("chain", "instance", "latency_ns")
        .join(analysis.chain_ledgers, on=["chain", "instance"], maintain_order="left_right")
        .with_columns(
            pl.col("entry").cast(pl.String).str.replace("_", "-"),
            share=pl.col("ns") / pl.col("latency_ns"),
        )
    )
    told = left_out(slowest.height, late.height, "late chains", "first")
    return Section(
        "Late chains, by stage",
        (
            Paragraph("Where the latency of the slowest instance of each late chain went:"),
            _stages(entries, told),
            _shares(entries.filter(pl.col("share") >= LEAST_SHARE)),
            Paragraph(f"hand-over: {HAND_OVER}."),
        ),
    )


def _stages(entries: pl.DataFrame, note: str) -> Table:
    summed = (
        entries.group_by("chain", "position", "stage", maintain_order=True)
        .agg(pl.col("from_ns").first(), pl.col("ns", "share").sum())
        .with_columns(_once("chain"))
    )
    return table(
        summed,
        {
            "chain": Column("chain"),
            "stage": Column("stage"),
            "from_ns": Column("from", "moment"),
            "ns": Column("time", "time"),
            "share": Column("share", "share"),
        },
        note=note,
    )


def _shares(entries: pl.DataFrame) -> Table:
    return table(
        entries.with_columns(_once("chain", "position", shown="stage")),
        {
            "stage": Column("stage"),
            "entry": Column("entry"),
            "by": Column("by"),
            "via": Column("via"),
            "ns": Column("time", "time"),
            "share": Column("share", "share"),
        },
        note="Entries of less than 1 % of the latency are left out; --json has all.",
    )


def _once(*of: str, shown: str | None = None) -> pl.Expr:
    """A column that says a thing in its first row only."""
    column = shown or of[0]
    first = pl.struct(of).is_first_distinct()
    return pl.when(first).then(column).otherwise(pl.lit("")).alias(column)


def inversions(analysis: Analysis) -> Section | None:
    """Priority inversions, the longest first."""
    every = analysis.timeline.inversions
    if every.is_empty():
        return None
    length = pl.col("end_ns") - pl.col("start_ns")
    shown = (
        every.with_columns(
            duration_ns=length,
            kind=pl.col("kind").cast(pl.String).str.replace("_", "-"),
            owners=pl.format(
                "{}: {}", pl.col("lock").cast(pl.String), pl.col("chain").list.join(" → ")
            ),
        )
        .sort("duration_ns", descending=True, maintain_order=True)
        .head(WORST)
    )
    met = set(shown["kind"])
    listed = table(
        shown,
        {
            "victim": Column("held up"),
            "kind": Column("kind"),
            "owners": Column("lock: its owners"),
            "start_ns": Column("at", "moment"),
            "duration_ns": Column("for", "time"),
            "third_party_ns": Column("unbounded", "time", means=UNBOUNDED),
        },
        note=left_out(shown.height, every.height, "priority inversions", "longest")
        + "".join(f"{kind}: {means}. " for kind, means in KIND_MEANS.items() if kind in met),
    )
    return Section("Priority inversions, the longest first", (listed,))


def deadlocks(analysis: Analysis) -> Section | None:
    """Cycles of tasks that wait for each other's locks."""
    found = analysis.timeline.deadlocks
    if found.is_empty():
        return None
    shown = found.with_columns(pl.col("tasks", "locks").list.join(", ")).head(MOST_ROWS)
    columns = {
        "tasks": Column("each waits for the next"),
        "locks": Column("for the lock"),
        "at_ns": Column("closed at", "moment"),
    }
    note = left_out(shown.height, found.height, "deadlocks", "first")
    return Section("Deadlocks", (table(shown, columns, note=note),))
