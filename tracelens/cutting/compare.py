"""Whether jobs read the same in two logs: times, ledger, inversions."""

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from tracelens.model.results import Timeline

_KEY = ("task", "release_ns")


@dataclass(frozen=True, slots=True)
class Account:
    """What is told about some jobs: their times and status, their ledgers, their inversions."""

    jobs: pl.DataFrame
    ledgers: pl.DataFrame
    inversions: pl.DataFrame

    def same(self, other: "Account") -> bool:
        """Whether nothing differs."""
        return (
            self.jobs.equals(other.jobs)
            and self.ledgers.equals(other.ledgers)
            and self.inversions.equals(other.inversions)
        )


def keys(
    run: Timeline, jobs: tuple[int, ...], shift_ns: int = 0, names: Mapping[str, str] | None = None
) -> pl.DataFrame:
    """The names and releases that tell these jobs of `run` from others.

    In another log, whose time is `shift_ns` more and whose tasks have other `names`.
    """
    task = pl.col("task").cast(pl.String).replace(names or {})
    return run.jobs[list(jobs)].select(task, pl.col("release_ns") + shift_ns)


def account(
    run: Timeline, wanted: pl.DataFrame, shift_ns: int = 0, names: Mapping[str, str] | None = None
) -> Account:
    """What `run` tells about the jobs `wanted` (a table of `keys`).

    `shift_ns` is taken off every time, and `names` replace those of tasks, handlers and locks.
    """
    names = names or {}

    def name(column: str) -> pl.Expr:
        return pl.col(column).cast(pl.String).replace(names)

    def moments(*columns: str) -> list[pl.Expr]:
        return [pl.col(column) - shift_ns for column in columns]

    jobs = run.jobs.with_columns(pl.col("task").cast(pl.String)).join(wanted, on=_KEY, how="semi")
    told = jobs.select(
        name("task"),
        *moments("release_ns", "start_ns", "end_ns"),
        pl.col("status").cast(pl.String),
        *("inferred", "execution_ns", "deadline_ns", "late"),
    )
    key = jobs.select("job_id", name("task"), *moments("release_ns"))
    ledgers = (
        run.episodes.join(key, on="job_id")
        .group_by(*_KEY, pl.col("entry").cast(pl.String), name("by"), name("via"))
        .agg(ns=(pl.col("end_ns") - pl.col("start_ns")).sum())
        .filter(pl.col("ns") > 0)
    )
    inversions = run.inversions.join(key, on="job_id").select(
        *_KEY,
        pl.col("kind").cast(pl.String),
        name("lock"),
        pl.col("chain").list.eval(pl.element().replace(names)),
        *moments("start_ns", "end_ns"),
        *("holder_ns", "third_party_ns", "raised"),
    )
    return Account(
        told.sort(pl.all()),
        ledgers.sort(*_KEY, "entry", "by", "via"),
        inversions.sort(*_KEY, "start_ns", "kind"),
    )
