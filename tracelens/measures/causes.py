"""Which occurrence of one stage of a chain caused which of the next.

The rule, for an occurrence E of the next stage. The first that fits holds.

1. E is a job, the stage before a task or an interrupt handler:
   a. the record of its release was written by that stage: a `release` that names it, a `send`
      by it, or a record that names no task and no handler, written while a handler of that
      stage ran on that core, or the task had it (both ends included, for ticks are coarse);
   b. else the job took an item out of a queue that that stage had put in: the first such item.
   The occurrence is the one at work when the record or the item was written: of a handler the last
   run that had begun (a release may be written late, after the handler), of a task the first job
   not yet complete, or, if that is not released yet, the one completed last.
2. A mark or a handler on either side, where 1 does not apply: the last occurrence that had begun,
   and each counts for one effect only, its first. Where both stages are the same mark, the last
   one before.
"""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
import polars as pl

from tracelens.measures.contract import of_name
from tracelens.measures.naming import actors, queue_ids, with_name
from tracelens.model.results import Timeline
from tracelens.spans import Integers

_WORDS = ("release", "activate", "arrive", "send", "receive")


@dataclass(frozen=True, slots=True)
class Stage:
    """The occurrences of one stage, in order. Places order the records of equal time.

    `kind` is 'task', 'isr' or 'mark'. Of a job `begin_place` and `end_place` say where its release
    and its completion are recorded; of the others they are 0. `job` is the job at work, of a mark
    the one that wrote it, −1 for none; `done_ns` is when that work ended. Not `certain` are the
    occurrences whose begin or end is not: they are kept, for what they did is not to be laid to
    another one.
    """

    name: str
    kind: str
    begin_ns: Integers
    end_ns: Integers
    begin_place: Integers
    end_place: Integers
    job: Integers
    done_ns: Integers
    certain: npt.NDArray[np.bool_]
    complete: npt.NDArray[np.bool_]

    def at_work(self, time_ns: Integers, place: Integers) -> Integers:
        """The occurrence that did something at each (time, place); −1 if none had begun."""
        begun = np.searchsorted(self.begin_ns, time_ns, side="right") - 1
        if self.kind != "task" or not len(self.end_ns):
            return begun
        ends = np.maximum.accumulate(self.end_ns)
        job = np.searchsorted(ends, time_ns, side="left")
        while True:
            here = np.minimum(job, len(ends) - 1)
            over = (job < len(ends)) & (ends[here] == time_ns) & (self.end_place[here] <= place)
            if not over.any():
                return np.minimum(job, begun)
            job = job + over


MARK: Final = "mark:"
"""Before a stage's name: the mark of that word, whatever else is called so."""


def stage(run: Timeline, name: str) -> Stage:
    """The occurrences of a task, of an interrupt handler, or else of a marked word.

    `mark:WORD` is always the mark.
    """
    if name.startswith(MARK):
        return _of_mark(run, name.removeprefix(MARK))
    if any(task.name == name for task in run.system.tasks):
        kind = "task"
        rows = of_name(run.jobs, "task", name).select(
            begin="release_ns",
            end="end_ns",
            job="job_id",
            begin_place=_place("release_part", "release_line"),
            end_place=_place("end_part", "end_line"),
            certain=pl.col("status") != "excluded",
            complete=pl.col("status") == "complete",
        )
    elif any(isr.name == name for isr in run.system.isrs):
        kind = "isr"
        runs = of_name(run.isr_runs, "isr", name).sort("start_ns", maintain_order=True)
        rows = runs.select(
            begin="start_ns",
            end="end_ns",
            job=pl.lit(-1, pl.Int64),
            begin_place=pl.lit(0, pl.Int64),
            end_place=pl.lit(0, pl.Int64),
            certain="complete",
            complete="complete",
        )
    else:
        return _of_mark(run, name)
    return Stage(
        name=name,
        kind=kind,
        begin_ns=rows["begin"].to_numpy(),
        end_ns=rows["end"].to_numpy(),
        begin_place=rows["begin_place"].to_numpy(),
        end_place=rows["end_place"].to_numpy(),
        job=rows["job"].to_numpy(),
        done_ns=rows["end"].to_numpy(),
        certain=rows["certain"].to_numpy(),
        complete=rows["complete"].to_numpy(),
    )


def _of_mark(run: Timeline, word: str) -> Stage:
    marks = (
        run.log.events.lazy()
        .filter((pl.col("event") == "mark") & (pl.col("subject").cast(pl.String) == word))
        .select("time_ns", "core", place=_place("part", "line"))
        .collect()
    )
    at, place = marks["time_ns"].to_numpy(), marks["place"].to_numpy()
    job, done = _writers(run, at, marks["core"].to_numpy(), place)
    none, all_ = np.zeros(len(at), np.int64), np.ones(len(at), np.bool_)
    return Stage(word, "mark", at, at, none, none, job, np.maximum(done, at), all_, all_)


def _writers(
    run: Timeline, at: Integers, core: npt.NDArray[np.uint8], place: Integers
) -> tuple[Integers, Integers]:
    """The job of the task that had the core at each moment, −1 if none had, and its end."""
    job, end = np.full(len(at), -1, np.int64), at.copy()
    for number in np.unique(core):
        on_it = run.occupancy.filter(pl.col("core") == number).sort("start_ns")
        begun = np.searchsorted(on_it["start_ns"].to_numpy(), at, side="right") - 1
        there = np.flatnonzero((core == number) & (begun >= 0))
        who = on_it["who"].gather(begun[there]).cast(pl.String).to_numpy()
        for task in {one.name for one in run.system.tasks} & set(who.tolist()):
            jobs = stage(run, task)
            wrote = there[who == task]
            work = jobs.at_work(at[wrote], place[wrote])
            wrote, work = wrote[work >= 0], work[work >= 0]
            under_way = jobs.end_ns[work] >= at[wrote]
            job[wrote[under_way]] = jobs.job[work[under_way]]
            end[wrote[under_way]] = jobs.end_ns[work[under_way]]
    return job, end


def causes(run: Timeline, acts: pl.DataFrame, cause: Stage, effect: Stage) -> Integers:
    """For every occurrence of `effect`, the index of its occurrence of `cause`; −1 for none.

    `run` is the whole run, `acts` the table that `acts` makes of it.
    """
    if effect.kind != "task" or cause.kind == "mark":
        found = _last_begun(cause, effect)
    else:
        released = _by_release(run, cause, effect, acts)
        received = _by_item(run, cause, effect, acts)
        found = np.where(released >= 0, released, received)
    certain = np.append(cause.certain, False)  # index −1: no cause
    return np.where(certain[found], found, -1)


def _last_begun(cause: Stage, effect: Stage) -> Integers:
    # From a mark to the next of the same word, the cause is the one before.
    side: Literal["left", "right"] = "left" if cause.name == effect.name else "right"
    found = np.searchsorted(cause.begin_ns, effect.begin_ns, side=side) - 1
    first = np.concatenate(([True], found[1:] != found[:-1])) if len(found) else found == 0
    return np.where(first, found, -1)


def acts(run: Timeline, names: set[str]) -> pl.DataFrame:
    """What the stages `names` do to each other: columns event, time, place, core, by, to.

    `by` is the name of the task or handler that acted, where the record tells; `to` the queue of a
    `send` or `receive`.
    """
    who = actors(run)
    tokens = [actor.id for actor in who if actor.name in names]
    events = (
        run.log.events.lazy()
        .filter(pl.col("event").is_in(_WORDS) & pl.col("subject").is_in(tokens))
        .select("part", "line", "time_ns", "core", "event", "subject", "value")
        .collect()
    )
    named = with_name(events, "subject", who, "subject_name")
    named = with_name(named, "value", who, "value_name")
    named = with_name(named, "value", queue_ids(run), "to")
    queued = pl.col("event").is_in(["send", "receive"])
    acting = [actor.name for actor in who]
    return named.select(
        "event",
        "core",
        time="time_ns",
        place=_place("part", "line"),
        by=pl.when(queued)
        .then("subject_name")
        .when((pl.col("event") == "release") & pl.col("value_name").is_in(acting))
        .then("value_name"),
        to=pl.when(queued).then("to"),
    )


def _by_release(run: Timeline, cause: Stage, effect: Stage, acts: pl.DataFrame) -> Integers:
    record = pl.DataFrame({"place": effect.begin_place}).join(
        acts.filter(pl.col("event") != "receive"), on="place", how="left", maintain_order="left"
    )
    unsaid = record["by"].is_null() & record["core"].is_not_null()
    there = np.zeros(record.height, bool)
    for core in record["core"].drop_nulls().unique():
        on_it = record["core"].eq_missing(core).to_numpy()
        there |= on_it & _had_core(run, cause, core, effect.begin_ns)
    by_cause = (record["by"] == cause.name).fill_null(False).to_numpy()
    wrote = by_cause | (unsaid.to_numpy() & there)
    return np.where(wrote, cause.at_work(effect.begin_ns, effect.begin_place), -1)


def _had_core(run: Timeline, cause: Stage, core: int, moments: Integers) -> npt.NDArray[np.bool_]:
    """Whether the handler ran, or the task had the core, at each moment; both ends included."""
    if cause.kind == "isr":
        spans = of_name(run.isr_runs, "isr", cause.name)
    else:
        spans = of_name(run.task_states, "task", cause.name).filter(pl.col("state") == "running")
    spans = spans.filter(pl.col("core") == core).select("start_ns", "end_ns").sort("start_ns")
    began = np.searchsorted(spans["start_ns"].to_numpy(), moments, side="right") - 1
    ends = np.append(spans["end_ns"].to_numpy(), -1)  # index −1, before the first: never
    return np.asarray(ends[began] >= moments)


def _by_item(run: Timeline, cause: Stage, effect: Stage, acts: pl.DataFrame) -> Integers:
    def moves(event: str, who: str, prefix: str) -> pl.DataFrame:
        return (
            acts.filter((pl.col("event") == event) & (pl.col("by") == who))
            .select(
                queue="to", **{f"{prefix}_ns": pl.col("time"), f"{prefix}_place": pl.col("place")}
            )
            .unique(["queue", f"{prefix}_ns"], keep="first", maintain_order=True)
        )

    sent = moves("send", cause.name, "send")
    received = moves("receive", effect.name, "receive")
    items = (
        run.queue_items.filter(
            pl.col("queue").cast(pl.String).is_in(sent["queue"].unique().implode())
        )
        .with_columns(pl.col("queue").cast(pl.String))
        .join(sent, on=["queue", "send_ns"])
        .join(received, on=["queue", "receive_ns"])
        .sort("receive_ns", "receive_place")
    )
    job = effect.at_work(items["receive_ns"].to_numpy(), items["receive_place"].to_numpy())
    from_ = cause.at_work(items["send_ns"].to_numpy(), items["send_place"].to_numpy())
    found = np.full(len(effect.begin_ns), -1, np.int64)
    taken = job >= 0
    jobs, first = np.unique(job[taken], return_index=True)
    found[jobs] = from_[taken][first]
    return found


def _place(part: str, line: str) -> pl.Expr:
    """A place in the log as one integer that grows from line to line; −1 if it is nowhere."""
    return (pl.col(part).cast(pl.Int64) * 2**32 + pl.col(line).cast(pl.Int64)).fill_null(-1)
