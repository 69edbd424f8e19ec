"""Who held the locks that stood in a job's way, and what held those up in turn."""

from collections.abc import Iterator
from typing import Final

import polars as pl

from tracelens.explanation.records import Deadlock, Holder, Job, Wait
from tracelens.measures.contract import of_name
from tracelens.model.results import Timeline

MOST: Final = 50
"""So many waits of a job, holders of a lock in a wait, and waits of a holder are told."""


def lock_waits(run: Timeline, job: Job, episodes: pl.DataFrame) -> pl.DataFrame:
    """The rows of `LOCK_WAITS` of the job's task that share time with the job, in order.

    What its task waited for while the job was in the backlog was an earlier job's wait.
    """
    waited = episodes.filter(pl.col("entry") == "backlog")["end_ns"].tail(1)
    mine = of_name(run.lock_waits, "task", job.task)
    return _meeting(mine, max([job.release_ns, *waited]), job.end_ns).sort("start_ns")


def waits(run: Timeline, job: Job, mine: pl.DataFrame) -> tuple[tuple[Wait, ...], int]:
    """The times that a lock was in the job's way, in order, with the chain of holders.

    `mine` is what `lock_waits` gives. Push-throughs stand among them; a push-through's holder is
    the raised task. Of each sort the `MOST` longest are told; the number is how many are left out.
    """
    low, high = job.release_ns, job.end_ns
    holds = _meeting(run.holds, low, high)
    others = _meeting(run.lock_waits, low, high)
    pushed = run.inversions.filter(
        (pl.col("job_id") == job.job_id) & (pl.col("kind") == "push_through")
    )
    found = list(_waits(_longest(mine), holds, others, frozenset()))
    for row in _longest(pushed).to_dicts():
        held = _meeting(of_name(holds, "lock", row["lock"]), row["start_ns"], row["end_ns"])
        raised = of_name(held, "task", row["chain"][0]) if row["chain"] else held.clear()
        found.append(
            Wait(
                task=job.task,
                kind="push_through",
                lock=row["lock"],
                wanted=row["lock"],
                start_ns=row["start_ns"],
                end_ns=row["end_ns"],
                got=False,
                holders=tuple(_holders(raised, row, holds, others, frozenset({job.task}))),
            )
        )
    found.sort(key=lambda wait: (wait.start_ns, wait.end_ns))
    return tuple(found), mine.height + pushed.height - len(found)


def deadlocks(run: Timeline, job: Job, found: tuple[Wait, ...]) -> tuple[Deadlock, ...]:
    """The deadlocks that the job's chains of holders ran into: a cycle's wait is one of theirs."""
    met = [wait for first in found for wait in all_waits(first)]
    return tuple(
        Deadlock(row["at_ns"], tuple(row["tasks"]), tuple(row["locks"]))
        for row in run.deadlocks.filter(pl.col("at_ns") < job.end_ns).to_dicts()
        if any(
            (wait.task, wait.lock) in zip(row["tasks"], row["locks"], strict=True)
            and wait.start_ns <= row["at_ns"] < wait.end_ns
            for wait in met
        )
    )


def all_waits(wait: Wait) -> Iterator[Wait]:
    """A wait, and those of its chains of holders."""
    yield wait
    for holder in wait.holders:
        for further in holder.waits:
            yield from all_waits(further)


def _waits(
    mine: pl.DataFrame, holds: pl.DataFrame, others: pl.DataFrame, above: frozenset[str]
) -> Iterator[Wait]:
    for row in mine.to_dicts():
        refused = row["wanted"] != row["lock"]
        held = _meeting(of_name(holds, "lock", row["lock"]), row["start_ns"], row["end_ns"])
        held = held.filter(pl.col("task").is_null() | (pl.col("task") != row["task"]))
        yield Wait(
            task=row["task"],
            kind="refused" if refused else "spin" if row["spun"] else "wait",
            lock=row["lock"],
            wanted=row["wanted"],
            start_ns=row["start_ns"],
            end_ns=row["end_ns"],
            got=row["got"],
            holders=tuple(_holders(held, row, holds, others, above | {row["task"]})),
        )


def _holders(
    held: pl.DataFrame,
    wait: dict[str, int],
    holds: pl.DataFrame,
    others: pl.DataFrame,
    above: frozenset[str],
) -> Iterator[Holder]:
    """`above` are the tasks of the chain so far: a deadlock goes round, its telling does not."""
    for row in _longest(held, wait["start_ns"], wait["end_ns"]).to_dicts():
        low, high = max(wait["start_ns"], row["start_ns"]), min(wait["end_ns"], row["end_ns"])
        further: tuple[Wait, ...] = ()
        if row["task"] is not None and row["task"] not in above:
            theirs = _meeting(of_name(others, "task", row["task"]), low, high)
            further = tuple(_waits(_longest(theirs, low, high), holds, others, above))
        yield Holder(
            task=row["task"],
            took_ns=row["start_ns"],
            gave_ns=row["end_ns"],
            own_ns=row["own_ns"],
            complete=row["complete"],
            waits=further,
        )


def _longest(spans: pl.DataFrame, low: int | None = None, high: int | None = None) -> pl.DataFrame:
    """The `MOST` spans with most of their time in [low, high), in order of time."""
    inside = pl.col("end_ns").clip(upper_bound=high) - pl.col("start_ns").clip(lower_bound=low)
    return spans.sort(inside, descending=True, maintain_order=True).head(MOST).sort("start_ns")


def _meeting(spans: pl.DataFrame, low: int, high: int) -> pl.DataFrame:
    return spans.filter((pl.col("start_ns") < high) & (pl.col("end_ns") > low))
