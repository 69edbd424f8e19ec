"""What takes more than it usually does in this run, or more than it should at any time."""

from collections.abc import Iterator

import polars as pl

from tracelens.findings import wording_ahead as wording
from tracelens.findings.evidence import Evidence
from tracelens.findings.growth import least_deadline
from tracelens.model.results import Finding


def executions(evidence: Evidence) -> Iterator[Finding]:
    """Tasks whose jobs execute longer for a while; a warning if it matters to a deadline.

    It matters from `hold_up_share` of the least deadline on of the task and of those no more
    urgent than it. A single long job is a note. The largest excess first.
    """
    rank = evidence.more_urgent
    for one in sorted(evidence.executions, key=lambda found: found.usual - found.risen):
        mine = rank.get(one.who)
        below = [task for task in rank if mine is not None and rank[task] <= mine]
        limit_ns = least_deadline(evidence.analysis, [one.who, *below])
        excess_ns = one.risen - one.usual
        material = limit_ns is not None and excess_ns >= evidence.limits.hold_up_share * limit_ns
        yield Finding(
            severity="warning" if material and not one.once else "note",
            subject=one.who,
            text=(wording.long_job if one.once else wording.execution_grew)(
                one.who, one.risen, one.usual, one.at_ns
            ),
            at_ns=one.at_ns,
            kind="long_job" if one.once else "execution_grew",
            numbers={"usual_ns": one.usual, "risen_ns": one.risen},
        )


def long_executions(evidence: Evidence) -> Iterator[Finding]:
    """Tasks whose own execution leaves the others little of their deadline; the longest first."""
    share = pl.col("job_execution_max_ns") / pl.col("deadline_ns")
    long = evidence.analysis.tasks.with_columns(share=share).filter(
        pl.col("share") >= evidence.limits.execution_share
    )
    for row in long.sort("share", descending=True, maintain_order=True).to_dicts():
        yield Finding(
            severity="note",
            subject=row["task"],
            text=wording.long_execution(
                row["task"], row["job_execution_max_ns"], row["deadline_ns"]
            ),
            at_ns=None,
            kind="long_execution",
            numbers={"execution_ns": row["job_execution_max_ns"], "share": row["share"]},
        )


def sections(evidence: Evidence) -> Iterator[Finding]:
    """Critical sections that grew, and those that are long against a more urgent user's deadline.

    A section that grew is a warning if it grew by `hold_up_share` of the least deadline of the
    lock's other users. The largest excess first.
    """
    limits = evidence.limits
    told = set()
    for one in sorted(evidence.sections, key=lambda found: found.usual - found.risen):
        excess_ns = one.risen - one.usual
        material = one.limit_ns is not None and excess_ns >= limits.hold_up_share * one.limit_ns
        if not one.once:
            told.add((one.who, one.holder))
        yield Finding(
            severity="warning" if material else "note",
            subject=one.who,
            text=(wording.single_section if one.once else wording.section_grew)(
                one.who, one.holder or "", one.risen, one.usual, one.at_ns
            ),
            at_ns=one.at_ns,
            kind="single_section" if one.once else "section_grew",
            numbers={"usual_ns": one.usual, "risen_ns": one.risen},
        )
    for row in _longest_sections(evidence).to_dicts():
        lock, task, own_ns = row["lock"], row["task"], row["own_ns"]
        victim, deadline_ns = _most_pressed(evidence, row["users"], task)
        if (
            victim is not None
            and own_ns >= limits.section_share * deadline_ns
            and (lock, task) not in told
        ):
            yield Finding(
                severity="warning",
                subject=lock,
                text=wording.long_section(lock, task, own_ns, victim, deadline_ns),
                at_ns=row["start_ns"],
                kind="long_section",
                numbers={"own_ns": own_ns, "deadline_ns": deadline_ns},
            )


def interrupts(evidence: Evidence) -> Iterator[Finding]:
    """Handlers with a burst far above their usual load; those with a high load all the time."""
    told = set()
    for one in sorted(evidence.interrupts, key=lambda found: found.usual - found.risen):
        told.add(one.who)
        yield Finding(
            severity="warning",
            subject=one.who,
            text=wording.interrupt_storm(one.who, one.risen, one.usual, one.at_ns),
            at_ns=one.at_ns,
            kind="interrupt_storm",
            numbers={"load": one.risen, "usual_load": one.usual},
        )
    much = evidence.limits.interrupt_load
    heavy = evidence.analysis.isrs.filter(pl.col("load") >= much / 2)
    for row in heavy.sort("load", descending=True, maintain_order=True).to_dicts():
        if row["isr"] not in told:
            yield Finding(
                severity="warning" if row["load"] >= much else "note",
                subject=row["isr"],
                text=wording.interrupt_load(row["isr"], row["load"], row["count"]),
                at_ns=None,
                kind="interrupt_load",
                numbers={"load": row["load"], "count": row["count"]},
            )


def _longest_sections(evidence: Evidence) -> pl.DataFrame:
    """Each user of each lock with its longest section (own execution) and all users of the lock."""
    return (
        evidence.analysis.timeline.holds.lazy()
        .filter("complete")
        .drop_nulls("task")
        .group_by("lock", "task")
        .agg(
            start_ns=pl.col("start_ns").get(pl.col("own_ns").arg_max()),
            own_ns=pl.col("own_ns").max(),
        )
        .with_columns(pl.col("lock", "task").cast(pl.String))
        .with_columns(users=pl.col("task").implode().over("lock", mapping_strategy="join"))
        .sort("own_ns", "lock", "task", descending=[True, False, False])
        .collect()
    )


def _most_pressed(evidence: Evidence, users: list[str], holder: str) -> tuple[str | None, int]:
    """The more urgent user of a lock with the least deadline."""
    rank, deadlines = evidence.more_urgent, evidence.deadlines
    own = rank.get(holder)
    above = [
        (deadlines[user], user)
        for user in users
        if own is not None and rank.get(user, own) > own and user in deadlines
    ]
    deadline_ns, victim = min(above, default=(0, None))
    return victim, deadline_ns
