"""Deadlines that were missed, and those that were met by little."""

from collections.abc import Iterator

import polars as pl

from tracelens.findings import wording
from tracelens.findings.evidence import Evidence
from tracelens.measures.usual import Ledger, ledgers_of
from tracelens.model.results import Analysis, Finding


def deadline_misses(evidence: Evidence) -> Iterator[Finding]:
    """One finding a task with late jobs that are complete; the greatest lateness first."""
    analysis = evidence.analysis
    worst = (
        _late(analysis, "complete")
        .group_by("task", maintain_order=True)
        .agg(pl.len().alias("misses"), pl.all().first())
    )
    patterns = {row["task"]: row for row in analysis.tasks.to_dicts()}
    for row in worst.to_dicts():
        task = patterns[row["task"]]
        response_ns, deadline_ns = row["response_ns"], row["deadline_ns"]
        # A job that is late already when the log ends has missed its deadline too.
        misses = task["deadline_misses"]
        judged = task["jobs"] + misses - row["misses"]
        how_often = wording.missed(
            row["task"], misses, judged, deadline_ns, task["longest_miss_run"]
        )
        which = wording.worst_job(
            row["job"],
            row["release_ns"],
            response_ns,
            deadline_ns,
            _culprit(evidence, row["job_id"], deadline_ns),
        )
        yield Finding(
            severity="error",
            subject=row["task"],
            text=f"{how_often} {which}",
            at_ns=row["release_ns"],
            kind="deadline_miss",
            numbers={
                "misses": misses,
                "jobs": judged,
                "job": row["job"],
                "job_id": row["job_id"],
                "response_ns": response_ns,
                "deadline_ns": deadline_ns,
                "lateness_ns": response_ns - deadline_ns,
            },
        )


def open_late_jobs(evidence: Evidence) -> Iterator[Finding]:
    """One finding a task with jobs that were late already when the log ended: the latest of them.

    The greatest lateness first.
    """
    worst = _late(evidence.analysis, "open").with_columns(open=pl.len().over("task"))
    for row in worst.unique("task", keep="first", maintain_order=True).to_dicts():
        age_ns, deadline_ns = row["response_ns"], row["deadline_ns"]
        yield Finding(
            severity="error",
            subject=row["task"],
            text=wording.open_late(
                row["task"],
                row["job"],
                row["release_ns"],
                age_ns,
                deadline_ns,
                _culprit(evidence, row["job_id"], deadline_ns),
                row["open"] - 1,
            ),
            at_ns=row["release_ns"],
            kind="open_late_job",
            numbers={
                "jobs": row["open"],
                "job": row["job"],
                "job_id": row["job_id"],
                "response_ns": age_ns,
                "deadline_ns": deadline_ns,
                "lateness_ns": age_ns - deadline_ns,
            },
        )


def near_deadlines(evidence: Evidence) -> Iterator[Finding]:
    """One finding a task that missed nothing and came close; the closest first."""
    analysis = evidence.analysis
    near = (
        analysis.tasks.filter(pl.col("deadline_misses") == 0)
        .with_columns(share=pl.col("response_max_ns") / pl.col("deadline_ns"))
        .filter(pl.col("share") >= evidence.limits.response_share)
        .sort("share", descending=True, maintain_order=True)
    )
    jobs = analysis.timeline.jobs.lazy().select("job_id", "release_ns")
    worst = jobs.filter(pl.col("job_id").is_in(near["worst_job_id"].to_list())).collect()
    released = dict(zip(worst["job_id"], worst["release_ns"], strict=True))
    ledgers = ledgers_of(analysis.timeline, near["worst_job_id"].to_list())
    for row in near.to_dicts():
        yield Finding(
            severity="warning",
            subject=row["task"],
            text=wording.near_deadline(
                row["task"],
                row["response_max_ns"],
                row["deadline_ns"],
                _largest(ledgers[row["worst_job_id"]], row["deadline_ns"]),
            ),
            at_ns=released[row["worst_job_id"]],
            kind="near_deadline",
            numbers={
                "response_ns": row["response_max_ns"],
                "deadline_ns": row["deadline_ns"],
                "job_id": row["worst_job_id"],
            },
        )


def chain_misses(evidence: Evidence) -> Iterator[Finding]:
    """One finding a chain with late instances; in order of declaration."""
    analysis = evidence.analysis
    longest = (
        analysis.chain_instances.filter(pl.col("late"))
        .sort("latency_ns", descending=True, maintain_order=True)
        .group_by("chain", maintain_order=True)
        .agg(start_ns=pl.col("start_ns").first(), latency_ns=pl.col("latency_ns").first())
    )
    for row in analysis.chains.join(longest, on="chain", maintain_order="left").to_dicts():
        yield Finding(
            severity="error",
            subject=row["chain"],
            text=wording.chain_missed(
                row["chain"],
                row["deadline_misses"],
                row["instances"],
                row["latency_ns"],
                row["deadline_ns"],
                row["start_ns"],
            ),
            at_ns=row["start_ns"],
            kind="chain_miss",
            numbers={
                "misses": row["deadline_misses"],
                "instances": row["instances"],
                "latency_ns": row["latency_ns"],
                "deadline_ns": row["deadline_ns"],
            },
        )


def unseen_chains(evidence: Evidence) -> Iterator[Finding]:
    """One finding a declared chain without an instance."""
    for row in evidence.analysis.chains.filter(pl.col("instances") == 0).to_dicts():
        yield Finding(
            severity="note",
            subject=row["chain"],
            text=wording.chain_unseen(row["chain"], row["path"]),
            at_ns=None,
            kind="unseen_chain",
            numbers={},
        )


def _late(analysis: Analysis, status: str) -> pl.DataFrame:
    """Late jobs of one status, the greatest lateness first."""
    return (
        analysis.timeline.jobs.lazy()
        .filter(pl.col("late") & (pl.col("status") == status))
        .sort(pl.col("response_ns") - pl.col("deadline_ns"), descending=True, maintain_order=True)
        .with_columns(pl.col("task").cast(pl.String))
        .collect()
    )


def _culprit(evidence: Evidence, job_id: int, deadline_ns: int) -> str:
    """What to name as the cause of one late job, with those before it that it waited for.

    What has grown most against what is usual for the task, if that is known and if it grew by
    `growth_share` of the lateness. Else the largest part.
    """
    one = evidence.blame.late.get(job_id)
    if one is None:
        return ""
    growth = one.growth() if one.usual is not None else {}
    for (entry, by, via), grown_ns in growth.items():
        if grown_ns < evidence.limits.growth_share * one.lateness_ns:
            break
        usual_ns = (one.usual or {}).get((entry, by, via), 0)
        return wording.grown(entry, by, via, grown_ns + usual_ns, usual_ns, one.members)
    return _largest(one.ledger, deadline_ns * one.members, one.members)


def _largest(ledger: Ledger, deadline_ns: int, members: int = 1) -> str:
    """The largest entry but the job's own execution; that, if it is too long or alone."""
    own_ns = sum(ns for (entry, _, _), ns in ledger.items() if entry == "execution")
    others = {key: ns for key, ns in ledger.items() if key[0] != "execution"}
    if own_ns > deadline_ns or (own_ns and not others):
        return wording.culprit("execution", None, None, own_ns, members)
    if not others:
        return ""
    main = max(others, key=lambda key: others[key])
    return wording.culprit(*main, others[main], members)
