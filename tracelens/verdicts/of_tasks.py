"""Observers of what belongs to a task, statistics of its jobs apart."""

from typing import Final

import polars as pl

from tracelens.measures.contract import of_name
from tracelens.measures.misses import most_misses
from tracelens.model.budgets import Budget
from tracelens.model.verdicts import Spot
from tracelens.verdicts import spots
from tracelens.verdicts.observation import (
    Observation,
    Observer,
    between,
    exact,
    lost,
    not_judged,
    nothing,
    so_far,
    so_many,
    undeclared,
)
from tracelens.verdicts.statistics import spot_of
from tracelens.verdicts.view import View

NO_DEADLINE: Final = "no deadline is declared"


def misses(view: View, name: str, budget: Budget) -> Observation:
    """Late jobs, in all or in the worst `of` consecutive ones; open jobs that are late count."""
    row = view.rows["tasks"][name]
    if row["deadline_ns"] is None:
        return undeclared(f"{NO_DEADLINE}, so no job can miss it")
    count = row["jobs"] + row["jobs_open"]
    if not count:
        return nothing("the log shows none of its jobs").of(0, "jobs")
    late = of_name(view.run.jobs, "task", name).filter("late")
    value = row["deadline_misses"]
    if budget.of is not None:
        value = most_misses(late["job"].to_numpy(), budget.of)
    missing = view.missing("tasks", name, row["jobs"])
    seen = _of_any(value, count, missing, budget.of, "jobs")
    return seen.of(count, "jobs").at(lambda: _worst(view, late))


def miss_run(view: View, name: str, _budget: Budget) -> Observation:
    """The longest run of late jobs; an excluded job between two ends it, so it may be longer."""
    row = view.rows["tasks"][name]
    if row["deadline_ns"] is None:
        return undeclared(f"{NO_DEADLINE}, so no job can miss it")
    missing = view.missing("tasks", name, row["jobs"])
    seen = so_far(row["longest_miss_run"], missing, "jobs")
    late = of_name(view.run.jobs, "task", name).filter("late")
    return seen.of(row["jobs"], "jobs").at(lambda: _worst(view, late))


def _of_any(value: int, count: int, missing: int, of: int | None, counted: str) -> Observation:
    """Misses with those that may be added: by what is missing, or not yet there."""
    if of is not None and count + missing < of:
        high = min(value + of - count, of)
        return between(
            value, value, high, f"{so_many(count, counted)}, fewer than the {of} to look at"
        )
    return between(value, value, value + missing, not_judged(missing, counted))


def _worst(view: View, late: pl.DataFrame) -> Spot | None:
    if late.is_empty():
        return None
    lateness = late["response_ns"] - late["deadline_ns"]
    return spots.of_job(view.whole, late["job_id"][int(lateness.arg_max() or 0)])


def chain_misses(view: View, name: str, budget: Budget) -> Observation:
    """Late instances of a chain, in all or in the worst `of` consecutive ones."""
    row = view.rows["chains"][name]
    if row["deadline_ns"] is None:
        return undeclared(f"{NO_DEADLINE}, so no instance can miss it")
    count = row["instances"]
    if not count:
        return nothing("the log shows none of its instances").of(0, "instances")
    late = view.analysis.chain_instances.filter("late", pl.col("chain") == name)
    value = row["deadline_misses"]
    if budget.of is not None:
        value = most_misses(late["instance"].to_numpy(), budget.of)
    missing = view.missing("chains", name, count)
    seen = _of_any(value, count, missing, budget.of, "instances")
    slowest = late.select(
        value="latency_ns", at_ns="start_ns", job_id=pl.lit(None), task=pl.lit(None)
    )
    return seen.of(count, "instances").at(lambda: spot_of(view, slowest, ascending=False))


def jitter(view: View, name: str, _budget: Budget) -> Observation:
    """Release jitter of a periodic task."""
    row = view.rows["tasks"][name]
    value = row["release_jitter_ns"]
    if all(task.period_ns is None for task in view.run.system.tasks if task.name == name):
        return undeclared("no period is declared")
    if value is None:
        return nothing("the log shows no releases on the grid of its period")
    missing = view.missing("tasks", name, row["jobs"])
    return so_far(value, missing, "jobs").of(row["jobs"], "jobs")


def jobs(view: View, name: str, _budget: Budget) -> Observation:
    """Judged jobs: at least so many."""
    count = view.rows["tasks"][name]["jobs"]
    missing = view.missing("tasks", name, count)
    return between(count, count, count + missing, not_judged(missing, "jobs"))


def counted(column: str) -> Observer:
    """A count of the task's own row, as it stands."""

    def observe(view: View, name: str, _budget: Budget) -> Observation:
        return exact(view.rows["tasks"][name][column])

    return observe


def load(view: View, name: str, budget: Budget) -> Observation:
    """Load of a task or handler; of the time that is unknown it may have none or all."""
    value = view.rows[budget.group][name]["load"]
    if value is None:
        return nothing("the log does not tell its time")
    if not view.loses():
        return exact(value)
    span_ns = max(every for every, _ in view.occupied.values())
    own = view.spent.filter(pl.col("who").cast(pl.String) == name)
    had_ns = int(own["ns"].sum())
    unknown_ns = sum(unknown for _, unknown in view.occupied.values())
    return between(value, had_ns / span_ns, (had_ns + unknown_ns) / span_ns, lost(view))


def stack_free(view: View, name: str, _budget: Budget) -> Observation:
    """Least free bytes; while the mark still falls, it is no bound."""
    return _stack(view, name, view.rows["tasks"][name]["stack_least_free_bytes"])


def stack_headroom(view: View, name: str, _budget: Budget) -> Observation:
    """Least free bytes / size."""
    row = view.rows["tasks"][name]
    if row["stack_size_bytes"] is None:
        return undeclared("the size of its stack is not declared")
    return _stack(view, name, row["stack_headroom"])


def _stack(view: View, name: str, value: float | None) -> Observation:
    row = view.rows["tasks"][name]
    if value is None:
        return nothing("the log has no mark of its stack")
    marks = _marks(view, name)
    seen = exact(value)
    if row["stack_still_falling"]:
        why = "the mark still fell in the last third of the run, so it is no bound"
        seen = between(value, 0, value, why)
    elif view.loses() and not (marks["time_ns"] >= view.last_gap_ns).any():
        # A mark is the least ever seen, so one that comes after a gap tells of the gap as well.
        seen = between(value, 0, value, "part of the log is unknown, and no later mark is there")
    least = str(row["stack_least_free_bytes"])
    return seen.at(lambda: _first(view, marks.filter(pl.col("value").cast(pl.String) == least)))


def _marks(view: View, name: str) -> pl.DataFrame:
    """The records of a task's mark within the window, in order of time."""
    words = [name, *(task.id for task in view.run.system.tasks if task.name == name)]
    start, end = view.analysis.window
    return view.run.log.events.filter(
        pl.col("event") == "stack",
        pl.col("subject").cast(pl.String).is_in(words),
        pl.col("time_ns").is_between(start, end),
    )


def _first(view: View, events: pl.DataFrame) -> Spot | None:
    if events.is_empty():
        return None
    at_ns, part, line = (events[column][0] for column in ("time_ns", "part", "line"))
    return Spot(at_ns, file=view.run.log.sources[part], line=line)


def inversion(column: str | None) -> Observer:
    """The longest time held up by a lock of a lower task, or the longest `column` of one."""

    def observe(view: View, name: str, _budget: Budget) -> Observation:
        if not view.rows["locks"]:
            return nothing("the log names no locks")
        length = pl.col("end_ns") - pl.col("start_ns") if column is None else pl.col(column)
        held_up = of_name(view.run.inversions, "victim", name).select(
            length.alias("value"), at_ns="start_ns", job_id="job_id", task="victim"
        )
        missing = view.missing("tasks", name, view.rows["tasks"][name]["jobs"])
        value = int(held_up["value"].to_numpy().max(initial=0))
        seen = so_far(value, missing, "jobs").of(held_up.height, "times")
        return seen.at(lambda: spot_of(view, held_up, ascending=False))

    return observe
