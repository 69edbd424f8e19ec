"""How far a replay can be believed: the run replayed unchanged, held against what was recorded."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import polars as pl

from tracelens.model.results import Timeline
from tracelens.replay.matching import matched

EXACT_NS: Final = 1
"""Counters round: no job is judged by less than a nanosecond."""

MISSING: Final = "not in the replay"


@dataclass(frozen=True, slots=True)
class Off:
    """Jobs of one task whose response the replay does not give, for one reason.

    `entry` and `by` are of the part of the ledger that differs most; `worst_ns` is the largest
    error, replayed − recorded, of job number `worst_job`. A job that the replay lacks has the entry
    'not in the replay'.
    """

    task: str
    entry: str
    by: str | None
    jobs: int
    worst_ns: int | None
    worst_job: int


@dataclass(frozen=True, slots=True)
class Fidelity:
    """What the unchanged replay gives, against the record.

    `jobs` were compared; `near` of them have the recorded response to within `tolerance_ns`, the
    usual cost of one switch. `worst_ns` is the largest error, either way. `notes` say what could
    not be replayed as it was.
    """

    jobs: int
    near: int
    exact: int
    tolerance_ns: int
    worst_ns: int
    off: tuple[Off, ...]
    notes: tuple[str, ...]

    @property
    def share(self) -> float:
        """The share of jobs to within one switch; 1 where there is no job."""
        return self.near / self.jobs if self.jobs else 1.0


def fidelity(
    recorded: Timeline,
    replayed: Timeline,
    tasks: Iterable[str],
    switch_ns: int,
    notes: tuple[str, ...],
) -> Fidelity:
    """Hold an unchanged replay against the record.

    `tasks` are those that were replayed; `switch_ns` is the usual cost of a switch.
    """
    both = (
        matched(recorded, replayed)
        .filter(pl.col("task").is_in(list(tasks)))
        .with_columns(error=pl.col("response_ns_after") - pl.col("response_ns"))
    )
    tolerance = max(EXACT_NS, switch_ns)
    size = both["error"].abs()
    return Fidelity(
        jobs=len(both),
        near=int((size <= tolerance).fill_null(False).sum()),
        exact=int((size <= EXACT_NS).fill_null(False).sum()),
        tolerance_ns=tolerance,
        worst_ns=_most(size),
        off=_off(recorded, replayed, both.filter((size > tolerance).fill_null(True))),
        notes=notes,
    )


def _most(size: pl.Series) -> int:
    most = size.max()
    return most if isinstance(most, int) else 0


def _off(recorded: Timeline, replayed: Timeline, wrong: pl.DataFrame) -> tuple[Off, ...]:
    """Why jobs differ, the most frequent reason first."""
    if wrong.is_empty():
        return ()
    before = _ledgers(recorded, wrong["job_id"]).rename({"ns": "ns_before"})
    after = _ledgers(replayed, wrong["job_id_after"].drop_nulls())
    ids = wrong.select("job_id", job_id_after=pl.col("job_id_after"))
    after = after.rename({"job_id": "job_id_after"}).join(ids, "job_id_after").drop("job_id_after")
    parts = before.join(after, ["job_id", "entry", "by"], "full", coalesce=True, nulls_equal=True)
    most = (
        parts.with_columns(
            grew=(pl.col("ns").fill_null(0) - pl.col("ns_before").fill_null(0)).abs()
        )
        .sort("grew", "entry", "by", descending=[True, False, False])
        .group_by("job_id", maintain_order=True)
        .first()
        .select("job_id", "entry", "by")
    )
    lacking = pl.col("error").is_null()
    told = wrong.join(most, "job_id", "left").with_columns(
        entry=pl.when(lacking).then(pl.lit(MISSING)).otherwise("entry"),
        by=pl.when(~lacking).then("by"),
        size=pl.col("error").abs().fill_null(0),
    )
    grouped = (
        told.sort("size", "task", "job", descending=[True, False, False])
        .group_by("task", "entry", "by", maintain_order=True)
        .agg(
            jobs=pl.len(),
            worst_ns=pl.col("error").first(),
            worst_job=pl.col("job").first(),
        )
        .sort("jobs", descending=True, maintain_order=True)
    )
    return tuple(Off(**row) for row in grouped.to_dicts())


def _ledgers(run: Timeline, ids: pl.Series) -> pl.DataFrame:
    """Time by ledger entry of some jobs. Columns job_id, entry, by, ns."""
    return (
        run.episodes.lazy()
        .filter(pl.col("job_id").is_in(ids.implode()))
        .group_by("job_id", pl.col("entry").cast(pl.String), pl.col("by").cast(pl.String))
        .agg(ns=(pl.col("end_ns") - pl.col("start_ns")).sum())
        .collect()
    )
