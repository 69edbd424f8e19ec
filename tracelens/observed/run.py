"""From a run's measures to a workload: what was seen, in the place of what is declared."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import polars as pl

from tracelens.measures.contract import of_name
from tracelens.model.results import Analysis, Timeline
from tracelens.model.system import Lock, Task
from tracelens.observed.arrivals import observed_stream
from tracelens.observed.sections import holds_a_job, sections
from tracelens.theory.workload import Contender, LockRule, Stream, Workload

UNKNOWN: Final = 1 << 40
"""The level of a task whose priority nobody told: it is in everybody's way."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What a run showed of one task: its longest response, its judged jobs, its misses."""

    response_ns: int | None
    jobs: int
    misses: int


@dataclass(frozen=True, slots=True)
class Observation:
    """A run's workload, and beside each task what was seen of it."""

    workload: Workload
    seen: dict[str, Seen]


def observe(analysis: Analysis) -> Observation:
    """The workload of a run, of its tasks that had jobs and its handlers that ran.

    Execution is the longest own execution of a complete job; a section the longest own execution in
    a hold; a task that kept the core from a more urgent one blocks for as long as it once did. A
    declared period counts, with the observed jitter; else arrivals are as observed (see
    `observed_stream`). Switching costs what the longest switch took.
    """
    run = analysis.timeline
    system = run.system
    sign = -1 if system.order == "lower_first" else 1
    rules = {lock.name: _rule(lock, sign) for lock in system.locks}
    notes: list[str] = [
        "Executions, sections, jitter and switching are the largest that this log shows: another "
        "run can show larger ones, and then these bounds do not hold."
    ]
    tasks = _tasks(analysis, sign, rules, notes)
    handlers = _handlers(run, sign)
    workload = Workload(
        contenders=(*handlers, *tasks),
        locks=rules,
        policy=system.policy,
        switch_ns=_switch(run.occupancy),
        core_names={core.id: core.name for core in system.cores},
        number=analysis.cores.height,
        observed=True,
        notes=tuple(notes),
    )
    rows = analysis.tasks.select("task", "response_max_ns", "jobs", "deadline_misses")
    columns = rows.to_dict(as_series=False).values()
    return Observation(workload, {name: Seen(*rest) for name, *rest in zip(*columns, strict=True)})


def _rule(lock: Lock, sign: int) -> LockRule:
    """A log declares the original ceiling protocol as a ceiling without a number."""
    if lock.protocol == "ceiling" and lock.ceiling is None:
        return LockRule("original_ceiling")
    return LockRule(lock.protocol or "none", None if lock.ceiling is None else sign * lock.ceiling)


def _tasks(
    analysis: Analysis, sign: int, rules: Mapping[str, LockRule], notes: list[str]
) -> list[Contender]:
    run = analysis.timeline
    declared = {task.name: task for task in run.system.tasks}
    cores = _cores(run.occupancy)
    held = sections(run.holds)
    jobs = dict(analysis.tasks.select("task", "jobs").iter_rows())  # few rows: one a task
    times = holds_a_job(run.holds, jobs)
    slept = _suspensions(run)
    masks = _masks(run.masks)
    deferring = _deferring(run)
    found = []
    for row in analysis.tasks.to_dicts():
        name = row["task"]
        released = of_name(run.jobs, "task", name)["release_ns"]
        if row["idle"] or not released.len():
            continue
        task = declared[name]
        jitter = 0
        if task.period_ns is not None:
            jitter = row["release_jitter_ns"] or 0
            stream = Stream(task.period_ns, jitter)
        else:
            stream = observed_stream(released.to_numpy())
            if task.separation_ns is not None and stream.apart_ns >= task.separation_ns:
                stream = Stream(task.separation_ns)
            elif task.separation_ns is not None:
                notes.append(f"{name} was released sooner than its declared separation allows.")
        count, longest = slept.get(name, (0, 0))
        waits = sum(n for lock, n in times.get(name, {}).items() if _waits(rules[lock]))
        one = _task(task, row, sign, stream, cores.get(name, ()), run)
        found.append(
            replace(
                one,
                jitter_ns=jitter,
                sections=held.get(name, ()),
                suspensions=count,
                suspension_ns=longest,
                waits=waits,
                masked_ns=max(masks.get((name, "sched"), 0), deferring.get(name, 0)),
                silent_ns=masks.get((name, "irq"), 0),
            )
        )
    return found


def _waits(rule: LockRule) -> bool:
    return rule.protocol != "ceiling"


def _task(
    task: Task,
    row: dict[str, Any],
    sign: int,
    stream: Stream,
    cores: tuple[int, ...],
    run: Timeline,
) -> Contender:
    cannot = None
    execution = row["job_execution_max_ns"]
    priority = row["priority"]
    edf = run.system.policy == "edf"
    migrates = task.core is None and len(cores) > 1
    if execution is None:
        cannot = "no complete job of it was seen"
    elif priority is None and not edf:
        cannot = "its priority is not known"
    elif migrates:
        cannot = "it ran on several cores, and this analysis is of one core at a time"
    level = UNKNOWN if priority is None else sign * priority
    period = task.period_ns or task.separation_ns
    return Contender(
        name=task.name,
        core=task.core if task.core is not None else cores[0] if cores else 0,
        level=None if edf else level,
        priority=priority,
        streams=() if execution is None else (stream,),
        cost_ns=max(1, execution or 0),
        deadline_ns=task.deadline_ns if task.deadline_ns is not None else period,
        migrates=migrates,
        cannot=cannot,
    )


def _handlers(run: Timeline, sign: int) -> list[Contender]:
    """Each handler on each core that it ran on."""
    found = []
    for isr in run.system.isrs:
        rows = of_name(run.isr_runs, "isr", isr.name)
        for (core,), here in rows.group_by("core", maintain_order=True):
            own = here.filter("complete")["own_ns"].to_numpy()
            begun = here.select(pl.coalesce("pend_ns", "start_ns")).to_series().to_numpy()
            alone = rows["core"].n_unique() == 1
            found.append(
                Contender(
                    name=isr.name if alone else f"{isr.name} on core {core}",
                    core=int(str(core)),
                    level=sign * (isr.priority or 0),
                    priority=isr.priority,
                    streams=(observed_stream(begun),),
                    cost_ns=max(1, int(own.max())) if len(own) else 1,
                    handler=True,
                )
            )
    return found


def _cores(occupancy: pl.DataFrame) -> dict[str, tuple[int, ...]]:
    """Task → the cores that it ran on."""
    rows = (
        occupancy.lazy()
        .filter(pl.col("occupant") == "task")
        .group_by(pl.col("who").cast(pl.String))
        .agg(pl.col("core").unique().sort())
        .collect()
    )
    who, cores = rows.to_dict(as_series=False).values()
    return {name: tuple(on) for name, on in zip(who, cores, strict=True)}


def _suspensions(run: Timeline) -> dict[str, tuple[int, int]]:
    """Task → the most suspensions in a job, and the longest time that a job spent in them."""
    rows = (
        run.episodes.lazy()
        .filter(pl.col("entry") == "suspended")
        .group_by("job_id")
        .agg(count=pl.len(), ns=(pl.col("end_ns") - pl.col("start_ns")).sum())
        .join(run.jobs.lazy().select("job_id", pl.col("task").cast(pl.String)), on="job_id")
        .group_by("task")
        .agg(pl.col("count", "ns").max())
        .collect()
    )
    task, count, ns = rows.select("task", "count", "ns").to_dict(as_series=False).values()
    return {name: (n, t) for name, n, t in zip(task, count, ns, strict=True)}


def _masks(masks: pl.DataFrame) -> dict[tuple[str, str], int]:
    """(who, what) → the longest time masked at a stretch."""
    rows = masks.group_by(pl.col("who").cast(pl.String), "what").agg(
        (pl.col("end_ns") - pl.col("start_ns")).max().alias("ns")
    )
    who, what, ns = rows.select("who", "what", "ns").to_dict(as_series=False).values()
    return {(name, kind): longest for name, kind, longest in zip(who, what, ns, strict=True)}


def _deferring(run: Timeline) -> dict[str, int]:
    """Task → the longest time that it kept the core while a more urgent job was ready.

    That is how a scheduler without pre-emption shows, and whatever else defers.
    """
    rows = (
        run.episodes.lazy()
        .filter(pl.col("entry") == "deferred")
        .group_by(pl.col("by").cast(pl.String))
        .agg((pl.col("end_ns") - pl.col("start_ns")).max().alias("ns"))
        .collect()
    )
    return dict(zip(*rows.select("by", "ns").to_dict(as_series=False).values(), strict=True))


def _switch(occupancy: pl.DataFrame) -> int:
    """The longest that a core was switching at a stretch."""
    switching = occupancy.filter(pl.col("occupant") == "switching")
    longest = (switching["end_ns"] - switching["start_ns"]).to_numpy()
    return int(longest.max()) if len(longest) else 0
