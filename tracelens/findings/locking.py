"""Deadlocks, priority inversions, and locks that are waited for long."""

from collections.abc import Iterator

import polars as pl

from tracelens.findings import wording
from tracelens.findings.evidence import Evidence
from tracelens.model.results import Analysis, Finding
from tracelens.spans import LENGTH


def deadlocks(evidence: Evidence) -> Iterator[Finding]:
    """One finding a deadlock, in order of time."""
    analysis = evidence.analysis
    for row in analysis.timeline.deadlocks.to_dicts():
        yield Finding(
            severity="error",
            subject=row["tasks"][0],
            text=wording.deadlock(row["tasks"], row["locks"], row["at_ns"]),
            at_ns=row["at_ns"],
            kind="deadlock",
            numbers={"tasks": len(row["tasks"])},
        )


def inversions(evidence: Evidence) -> Iterator[Finding]:
    """One finding a victim and lock: unbounded inversions first, then bounded; longest first.

    Unbounded ones (third parties ran) are warnings from `hold_up_share` of the victim's deadline
    on, or if it has none; shorter ones are notes. Bounded ones are what a working lock protocol
    leaves: they are notes, from the same share on.
    """
    analysis = evidence.analysis
    deadlines = evidence.deadlines
    by_pair = (
        analysis.timeline.inversions.lazy()
        .with_columns(
            pl.col("victim", "lock").cast(pl.String),
            ns=LENGTH,
            unbounded=pl.col("third_party_ns") > 0,
        )
        .sort("third_party_ns", "ns", descending=True, maintain_order=True)
        .group_by("victim", "lock", "unbounded", maintain_order=True)
        .agg(
            pl.len().alias("times"),
            pl.col("inversion_id", "start_ns", "ns", "third_party_ns", "holder_ns").first(),
        )
        .collect()
    )
    for row in by_pair.to_dicts():
        deadline_ns = deadlines.get(row["victim"])
        long = deadline_ns is None or row["ns"] >= evidence.limits.hold_up_share * deadline_ns
        if row["unbounded"]:
            third, third_ns = _main_third_party(analysis, row["inversion_id"])
            text = wording.unbounded_inversion(
                row["victim"],
                row["lock"],
                row["times"],
                row["ns"],
                row["start_ns"],
                third,
                third_ns,
            )
        elif long:
            text = wording.bounded_inversion(
                row["victim"],
                row["lock"],
                row["times"],
                row["ns"],
                row["start_ns"],
                row["holder_ns"],
                wording.of_deadline(row["ns"], deadline_ns),
            )
        else:
            continue
        yield Finding(
            severity="warning" if row["unbounded"] and long else "note",
            subject=row["victim"],
            text=text,
            at_ns=row["start_ns"],
            kind="unbounded_inversion" if row["unbounded"] else "bounded_inversion",
            numbers={
                "times": row["times"],
                "inversion_id": row["inversion_id"],
                "duration_ns": row["ns"],
                "holder_ns": row["holder_ns"],
                "third_party_ns": row["third_party_ns"],
            },
        )


def contentions(evidence: Evidence) -> Iterator[Finding]:
    """One finding a task and lock with a wait of `hold_up_share` of the task's deadline or more.

    Waits that are priority inversions are left to `inversions`. The longest wait first.
    """
    analysis = evidence.analysis
    deadlines = evidence.deadlines
    inverted = analysis.timeline.inversions.select(
        pl.col("victim", "lock").cast(pl.String),
        began=pl.col("start_ns"),
        ended=pl.col("end_ns"),
    ).sort("began")
    # The inversions of one victim and lock are disjoint: a wait shares time with one of them only
    # if it does with the last that begins before the wait ends.
    longest = (
        analysis.timeline.lock_waits.with_columns(
            pl.col("task", "lock", "owner").cast(pl.String), ns=LENGTH
        )
        .sort("end_ns")
        .join_asof(
            inverted,
            left_on="end_ns",
            right_on="began",
            by_left=["task", "lock"],
            by_right=["victim", "lock"],
            strategy="backward",
            check_sortedness=False,
        )
        .filter((pl.col("ended") > pl.col("start_ns")).fill_null(False).not_())
        .sort("ns", "start_ns", descending=[True, False], maintain_order=True)
        .unique(["task", "lock"], keep="first", maintain_order=True)
    )
    for row in longest.to_dicts():
        deadline_ns = deadlines.get(row["task"])
        if deadline_ns is None or row["ns"] < evidence.limits.hold_up_share * deadline_ns:
            continue
        yield Finding(
            severity="note",
            subject=row["lock"],
            text=wording.contention(
                row["task"],
                row["lock"],
                row["ns"],
                row["start_ns"],
                row["owner"],
                wording.of_deadline(row["ns"], deadline_ns),
            ),
            at_ns=row["start_ns"],
            kind="contention",
            numbers={"wait_ns": row["ns"], "deadline_ns": deadline_ns},
        )


def _main_third_party(analysis: Analysis, inversion_id: int) -> tuple[str, int]:
    parts = analysis.timeline.third_parties.filter(pl.col("inversion_id") == inversion_id)
    main = parts.sort("ns", descending=True, maintain_order=True).head(1)
    return str(main["task"][0]), int(main["ns"][0])
