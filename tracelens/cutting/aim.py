"""What to cut around: a late job, a time, a mark, or all that lies between two times."""

from dataclasses import dataclass

import polars as pl

from tracelens.analysis import within_run
from tracelens.errors import UsageError
from tracelens.model.results import Timeline
from tracelens.numbers import moment
from tracelens.units import NS_PER_MS

AROUND_NS = 10 * NS_PER_MS
"""What is kept before and after, at most, where nothing else is asked for."""


@dataclass(frozen=True, slots=True)
class Aim:
    """The time [start_ns, end_ns) to keep, and the jobs in it that must read the same.

    `jobs` are numbers of the whole run's table of jobs; `margin_ns` is kept before and after.
    """

    start_ns: int
    end_ns: int
    jobs: tuple[int, ...]
    margin_ns: int
    what: str


def around_miss(run: Timeline, number: int | None = None, margin_ns: int | None = None) -> Aim:
    """The `number`-th late job in order of release, 1 for the first; without, the one late by most.

    The margin is as long as the job's response, 10 ms at most, if none is given. Raises
    `UsageError` if there are not so many misses.
    """
    late = run.jobs.filter("late").sort("release_ns", "job_id")
    if not 1 <= (1 if number is None else number) <= late.height:
        found = f"expected 1 to {late.height}" if late.height else "expected a log with misses"
        raise UsageError(
            f"no such miss: found {number if number is not None else 'none'}, {found}",
            hint="misses count in order of release; "
            "--from and --to, --around or --mark cut at another place",
        )
    lateness = late["response_ns"] - late["deadline_ns"]
    worst = lateness.arg_max() or 0
    job = late.row(worst if number is None else number - 1, named=True)
    return Aim(
        start_ns=job["release_ns"],
        end_ns=job["end_ns"],
        jobs=(job["job_id"],),
        margin_ns=min(job["response_ns"], AROUND_NS) if margin_ns is None else margin_ns,
        what=f"{job['task']} {job['job']}",
    )


def between(run: Timeline, start_ns: int, end_ns: int, margin_ns: int | None = None) -> Aim:
    """All from `start_ns` up to `end_ns`; the jobs released and completed within read the same.

    Raises `UsageError` if that is no time of the run.
    """
    within_run((start_ns, end_ns), run.span_ns)
    inside = (pl.col("release_ns") >= start_ns) & (pl.col("end_ns") <= end_ns)
    return Aim(start_ns, end_ns, _judged(run, inside), margin_ns or 0, "the jobs in it")


def around_time(run: Timeline, at_ns: int, margin_ns: int | None = None) -> Aim:
    """A moment; the jobs under way at it read the same, and are kept whole."""
    if not 0 <= at_ns <= run.span_ns:
        raise UsageError(
            f"no such time in this run: found {moment(at_ns)}, "
            f"expected {moment(0)} to {moment(run.span_ns)}",
            hint="times count from the first event of the log",
        )
    jobs = _judged(run, (pl.col("release_ns") <= at_ns) & (pl.col("end_ns") >= at_ns))
    under_way = run.jobs[list(jobs)]
    return Aim(
        start_ns=min([at_ns, *under_way["release_ns"]]),
        end_ns=max([at_ns, *under_way["end_ns"]]),
        jobs=jobs,
        margin_ns=AROUND_NS if margin_ns is None else margin_ns,
        what="the jobs under way there",
    )


def around_mark(run: Timeline, word: str, margin_ns: int | None = None) -> Aim:
    """The first time that the application marked `word`. Raises `UsageError` if it never did."""
    marks = run.log.events.filter(pl.col("event") == "mark")
    words = marks["subject"].cast(pl.String)
    at = marks.filter(words == word)["time_ns"]
    if at.is_empty():
        told = ", ".join(words.unique().sort().head(8)) or "none"
        raise UsageError(
            f"no such mark: found {word}, expected one of the log's marks ({told})",
            hint="firmware marks a point with `mark WORD`",
        )
    return around_time(run, at[0], margin_ns)


def _judged(run: Timeline, which: pl.Expr) -> tuple[int, ...]:
    judged = run.jobs.filter(which & pl.col("status").is_in(["complete", "open"]))
    return tuple(judged["job_id"].to_list())
