"""The one cause that explains most of what was late."""

from collections import Counter, defaultdict
from collections.abc import Iterator

import polars as pl

from tracelens.findings import wording_ahead as wording
from tracelens.findings.blame import Blame, Cause
from tracelens.findings.evidence import Evidence
from tracelens.model.results import Finding
from tracelens.spans import LENGTH


def main_cause(evidence: Evidence) -> Iterator[Finding]:
    """At most one finding: whoever stands behind `cause_share` of all lateness or more.

    Of a single late job its own finding says as much. Shown is the worst of the jobs explained.
    """
    blamed = evidence.blame
    if len(blamed.late) < 2:
        return
    by_name: defaultdict[str, float] = defaultdict(float)
    for cause, share in blamed.shares.items():
        by_name[cause.name] += share
    for name, share in sorted(by_name.items(), key=lambda item: -item[1])[:1]:
        if share < evidence.limits.cause_share:
            return
        cause = next(one for one in blamed.shares if one.name == name)
        victims: Counter[str] = Counter()
        for one, tasks in blamed.explained.items():
            if one.name == name:
                victims.update(tasks)
        if cause.kind == "kernel" or not victims:
            return
        job_id, release_ns = _worst(evidence, victims.most_common(1)[0][0])
        yield Finding(
            severity="error",
            subject=name,
            text=_sentence(evidence, blamed, cause, victims),
            at_ns=release_ns,
            kind="main_cause",
            numbers={"share": share, "jobs": sum(victims.values()), "job_id": job_id},
        )


def _sentence(evidence: Evidence, blamed: Blame, cause: Cause, victims: Counter[str]) -> str:
    late = len(blamed.late)
    if cause.kind == "isr":
        grown = [one for one in evidence.interrupts if one.who == cause.name]
        how = wording.interrupt_now(grown[0].risen, grown[0].usual) if grown else ""
        return wording.main_cause(f"The interrupt handler {cause.name}", how, victims, late)
    if cause.kind == "lock":
        holder, longest_ns = _holder(evidence, cause.name)
        how = wording.section_now(longest_ns)
        who = wording.lock_of(cause.name, holder)
        return wording.main_cause(who, how, victims, late)
    if cause.kind == "priority":
        return wording.main_cause(wording.low_priority(cause.name), "", victims, late)
    if cause.kind == "consumer":
        return wording.main_cause(wording.slow_consumer(cause.name, cause.via), "", victims, late)
    if cause.kind == "wait":
        return wording.main_cause(wording.own_wait(cause.name, cause.via), "", victims, late)
    slower = [one for one in evidence.executions if one.who == cause.name]
    how = wording.execution_now(slower[0].risen, slower[0].usual) if slower else ""
    return wording.main_cause(f"The execution of {cause.name}", how, victims, late)


def _worst(evidence: Evidence, task: str) -> tuple[int, int]:
    """The latest job of `task` (job_id, release_ns)."""
    jobs = evidence.analysis.timeline.jobs
    late = jobs.filter(pl.col("late") & (pl.col("task").cast(pl.String) == task))
    first = late.sort(
        pl.col("response_ns") - pl.col("deadline_ns"), descending=True, maintain_order=True
    ).row(0, named=True)
    return first["job_id"], first["release_ns"]


def _holder(evidence: Evidence, lock: str) -> tuple[str | None, int]:
    """Who held the lock longest, counting the holder's own execution, and for how long."""
    holds = (
        evidence.analysis.timeline.holds.filter(pl.col("lock").cast(pl.String) == lock)
        .with_columns(pl.col("task").cast(pl.String), ns=LENGTH)
        .drop_nulls("task")
        .sort("own_ns", "ns", descending=True, maintain_order=True)
    )
    if holds.is_empty():
        return None, 0
    return holds["task"][0], int(holds["own_ns"][0])
