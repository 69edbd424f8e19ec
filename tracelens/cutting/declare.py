"""What the small log declares: all that held in the large one at its begin, and what came after."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import polars as pl

from tracelens.model.results import Timeline
from tracelens.model.system import Place, System, Task
from tracelens.reconstruct.grid import envelope


@dataclass(frozen=True, slots=True)
class Ids:
    """Name → the id by which events call the thing at the begin of the cut."""

    tasks: dict[str, str]
    isrs: dict[str, str]
    things: dict[str, str]


def declarations(
    run: Timeline,
    first: Place,
    last: Place,
    boot: int,
    boot_ns: int,
    begin_ns: int,
    part_of_boot: bool,
) -> System:
    """The declarations for events from the place `first` to `last`, in a log from `begin_ns` on.

    What the events name without a declaration is declared too: a lock is known by what is done to
    it, and that may lie outside the cut. So are the nominal releases of periodic tasks, which
    else would follow from fewer releases: if the events are no more than a part of the boot
    (`part_of_boot`) that began at `boot_ns`, those that follow from all of it. Of an id that was
    declared again, only what it meant from `first` on is kept.
    """
    said, system = run.log.declared, run.system
    tasks = _in_force(said.tasks, system.tasks, first, last)
    return replace(
        system,
        tasks=tuple(_with_grid(run, task, boot, boot_ns, begin_ns, part_of_boot) for task in tasks),
        isrs=_in_force(said.isrs, system.isrs, first, last),
        locks=_in_force(said.locks, system.locks, first, last),
        queues=_in_force(said.queues, system.queues, first, last),
    )


def with_note(declared: System, text: str) -> System:
    """The same, with one note more."""
    return replace(declared, notes=(*declared.notes, text))


def ids_at(system: System, first: Place) -> Ids:
    """The ids by which the events at the place `first` call things, of `declarations`."""

    def meant(records: Sequence[Any]) -> dict[str, str]:
        early = [one for one in records if one.line is None or one.line <= first]
        return {one.name: one.id for one in [*records, *early]}

    things = meant(system.queues) | meant(system.locks)
    return Ids(meant(system.tasks), meant(system.isrs), things)


def _in_force(
    said: Sequence[Any], completed: Sequence[Any], first: Place, last: Place
) -> tuple[Any, ...]:
    """Records with the ids that events use, and the facts that hold in the end."""
    facts = {record.name: record for record in completed}
    latest = {one.id: one for one in said if one.line is None or one.line <= first}
    kept = [
        one
        for one in said
        if (one.line is not None and first < one.line <= last)
        or latest.get(one.id) is one
        or (one.id not in latest and one.line is not None and one.line > last)
    ]
    # Of an id first declared after the cut, its first declaration holds for what stands above it.
    ids: set[Any] = set()
    whole = []
    for one in kept:
        if one.line is not None and one.line > last and one.id in ids:
            continue
        ids.add(one.id)
        whole.append(replace(facts.get(one.name, one), id=one.id, line=one.line))
    known = {one.id for one in said}
    return (*whole, *(one for one in completed if one.id not in known))


def _with_grid(
    run: Timeline, task: Task, boot: int, boot_ns: int, begin_ns: int, part_of_boot: bool
) -> Task:
    """A periodic task with its nominal releases counted from the cut's first event."""
    if not task.period_ns:
        return task
    origin = boot_ns + task.offset_ns if task.offset_ns is not None else None
    if origin is None and part_of_boot:
        origin = _envelope(run, task.name, task.period_ns, boot)
    if origin is None:
        return task
    return replace(task, offset_ns=(origin - begin_ns) % task.period_ns)


def _envelope(run: Timeline, name: str, period_ns: int, boot: int) -> int | None:
    restarts = (0, *run.log.restarts)
    until = restarts[boot + 1] if boot + 1 < len(restarts) else run.span_ns + 1
    releases = run.jobs.filter(
        (pl.col("task") == name)
        & pl.col("release_line").is_not_null()
        & (pl.col("release_ns") >= restarts[boot])
        & (pl.col("release_ns") < until)
    )["release_ns"]
    return envelope(releases.sort().to_numpy(), period_ns) if len(releases) else None
