"""A job's time in order: what it did, for how long, and where that time went meanwhile."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import polars as pl

from tracelens.explanation import jobs
from tracelens.explanation.records import Job, Picture, Stretch
from tracelens.measures.contract import of_name
from tracelens.spans import LENGTH, clip

MOST_TOLD = 15
"""A telling has at most so many stretches; longer jobs have the shorter ones folded together."""


def episodes(table: pl.DataFrame, job_id: int) -> pl.DataFrame:
    """The job's rows of a table of `EPISODES` in order of time; they tile [release, end)."""
    return table.filter((pl.col("job_id") == job_id) & (LENGTH > 0)).sort("start_ns")


def stretches(
    job: Job, episodes: pl.DataFrame, task_states: pl.DataFrame, lock_waits: pl.DataFrame
) -> pl.DataFrame:
    """The job's episodes, cut where it began to do something else.

    Columns of `EPISODES`, and `stretch` (its number, from 0), `doing` and `what` (as in
    `records.Stretch`). While a lock is in the way the job 'waits for lock', even if it runs (spins)
    or is ready again (the hand-over); while an earlier job of the task is under way it is in the
    'backlog'; else the state of its task tells. `lock_waits` are those that meet the job.
    """
    window = ((job.release_ns, job.end_ns),)
    states = clip(of_name(task_states, "task", job.task), window).sort("start_ns")
    waits = clip(lock_waits, window).sort("start_ns")
    inner = [frame[edge] for frame in (states, waits) for edge in ("start_ns", "end_ns")]
    edges = _distinct(np.concatenate([episodes["start_ns"], [job.end_ns], *inner]))
    at = edges[:-1]
    entry = pl.col("entry")
    return (
        episodes[np.searchsorted(episodes["start_ns"].to_numpy(), at, side="right") - 1]
        .with_columns(
            pl.Series("start_ns", at, pl.Int64),
            pl.Series("end_ns", edges[1:], pl.Int64),
            _during(states, at, "state"),
            _during(states, at, "waits_for"),
            _during(waits, at, "lock"),
        )
        .with_columns(
            doing=pl.when(entry.is_in(["backlog", "unknown", "suspended"]))
            .then(entry.cast(pl.String))
            .when(pl.col("lock").is_not_null())
            .then(pl.lit("waits for lock"))
            .when((entry == "execution") | (pl.col("state") == "running"))
            .then(pl.lit("runs"))
            .when(pl.col("state") == "ready")
            .then(pl.lit("ready"))
            .when(pl.col("state").is_in(["waiting", "suspended"]))
            .then(pl.lit("suspended"))
            .otherwise(pl.lit("unknown"))
        )
        .with_columns(
            what=pl.when(pl.col("doing") == "waits for lock")
            .then("lock")
            .when(pl.col("doing") == "suspended")
            .then(
                pl.when(entry == "suspended")
                .then(pl.col("via").cast(pl.String))
                .otherwise("waits_for")
            )
        )
        .drop("state", "waits_for", "lock")
        .with_columns(stretch=pl.struct("doing", "what").rle_id())
    )


def summed(pieces: pl.DataFrame) -> pl.DataFrame:
    """One row a stretch: `stretch`, `start_ns`, `end_ns`, `doing`, `what`, in order."""
    return pieces.group_by("stretch", maintain_order=True).agg(
        pl.col("start_ns").first(), pl.col("end_ns").last(), pl.col("doing", "what").first()
    )


def told(pieces: pl.DataFrame, most: int = MOST_TOLD) -> tuple[Stretch, ...]:
    """The same time in at most `most` stretches: the longest stay, those between are folded."""
    every = summed(pieces)
    if every.height > most:
        longest = LENGTH.rank("ordinal", descending=True) <= most // 2
        every = every.with_columns(kept=pl.when(longest).then("stretch")).with_columns(
            part=pl.col("kept").rle_id()
        )
    else:
        every = every.with_columns(part=pl.col("stretch"))
    ledgers = (
        pieces.join(every.select("stretch", "part"), on="stretch", maintain_order="left")
        .group_by(pl.col("part").alias("job_id"), "entry", "by", "via", maintain_order=True)
        .agg(ns=LENGTH.sum())
        .sort("job_id", "ns", descending=[False, True], maintain_order=True)
    )
    rows = jobs.rows_by_job(ledgers)
    parts = every.group_by("part", maintain_order=True).agg(
        pl.col("start_ns").first(),
        pl.col("end_ns").last(),
        pl.when(pl.len() == 1).then(pl.col("doing").first()).otherwise(pl.lit("several")),
        pl.when(pl.len() == 1).then(pl.col("what").first()),
        pl.len().alias("count"),
    )
    return tuple(
        Stretch(p["start_ns"], p["end_ns"], p["doing"], p["what"], rows[p["part"]], p["count"])
        for p in parts.to_dicts()
    )


def picture(job: Job, episodes: pl.DataFrame, width: int = 72) -> Picture:
    """The job, and the time to its deadline if that is later, as `width` columns.

    Where two entries have the same time in a column, the earlier one of the job is shown.
    """
    span = max(job.length_ns, job.deadline_ns or 0)
    if episodes.is_empty() or not span:
        return Picture((), 0.0, None)
    edges = np.arange(width + 1) * span / width
    words: Sequence[str] = episodes["entry"].unique(maintain_order=True).to_list()
    bounds = np.append(episodes["start_ns"].to_numpy() - job.release_ns, job.length_ns)
    spent = np.zeros((len(words), width))
    for i, word in enumerate(words):
        length = np.where((episodes["entry"] == word).to_numpy(), np.diff(bounds), 0)
        before = np.append(0, np.cumsum(length))
        spent[i] = np.diff(np.interp(edges, bounds, before))
    columns = [
        words[k] if some else "" for k, some in zip(spent.argmax(0), spent.sum(0) > 0, strict=True)
    ]
    deadline = None if job.deadline_ns is None else round(job.deadline_ns * width / span)
    return Picture(tuple(columns), span / width, deadline)


def _distinct(moments: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """The moments in ascending order, each once: a few ascending runs are fast to merge, which
    numpy's `unique` does not use."""
    ordered = np.sort(moments.astype(np.int64), kind="stable")
    return np.asarray(ordered[np.append(True, np.diff(ordered) > 0)])


def _during(spans: pl.DataFrame, at: npt.NDArray[np.int64], column: str) -> pl.Series:
    """The column, as strings, of the one of disjoint ascending spans that each moment lies in."""
    values = spans[column].cast(pl.String)
    if spans.is_empty():
        return pl.Series(column, [None] * len(at), pl.String)
    row = np.searchsorted(spans["start_ns"].to_numpy(), at, side="right") - 1
    there = (row >= 0) & (spans["end_ns"].to_numpy()[row] > at)
    found = values.gather(np.maximum(row, 0))
    return pl.select(pl.when(pl.Series(there)).then(found).alias(column)).to_series()
