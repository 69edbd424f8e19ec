"""Feed the events through the machine, boot by boot, and collect what it writes.

`reconstruct` is the way in. The pass itself is `step.advance`; here its memory is built, filled
with what is declared, given room when it asks for it, and emptied of finished rows.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tracelens.compiled import compiled
from tracelens.model.log import Log
from tracelens.model.results import Timeline
from tracelens.model.system import System
from tracelens.reconstruct import arena
from tracelens.reconstruct.arena import Sizes
from tracelens.reconstruct.frames import Rows, timeline
from tracelens.reconstruct.gaps import end_boot
from tracelens.reconstruct.grid import envelopes
from tracelens.reconstruct.lookahead import look_ahead
from tracelens.reconstruct.names import Named, name_events
from tracelens.reconstruct.setup import Facts, facts, fill
from tracelens.reconstruct.step import advance

_BUFFER_ROWS = 200_000
"""Finished rows that a buffer holds before it is emptied; small logs take smaller buffers."""


def reconstruct(log: Log, system: System | None = None, *, part_events: int = 0) -> Timeline:
    """What happened: states, occupants, locks, jobs and ledgers of a log.

    `system` is what holds instead of `log.declared`, if a system file changed it. With
    `part_events` the events are taken in parts of that many, with the same result; it is how
    a log that grows, or is larger than memory, is read.
    """
    named = name_events(log.events, system or log.declared)
    about = facts(named)
    rows = Rows()
    lost = 0
    bounds = _boots(log, len(named.times))
    for number, (first, last) in enumerate(bounds):
        boot = _Boot(named, about, first, last, part_events)
        is_last = number == len(bounds) - 1
        collected, memory = boot.run({}, is_last)
        if memory[arena.SPLIT_CANDIDATES]:
            grid = envelopes(collected, named.system, about)
            collected, memory = boot.run(grid, is_last)
        rows.extend(collected)
        lost += int(memory[arena.LOST])
    return timeline(log, named, about, rows, bounds, lost)


def _boots(log: Log, events: int) -> list[tuple[int, int]]:
    """The [first, last) event rows of each boot."""
    if not log.restarts:
        return [(0, events)]
    boot = log.events["boot"].to_numpy()
    starts = [0, *(np.flatnonzero(np.diff(boot)) + 1).tolist(), events]
    return list(zip(starts[:-1], starts[1:], strict=True))


@dataclass
class _Boot:
    """The events [first, last) between two starts of the target."""

    named: Named
    about: Facts
    first: int
    last: int
    part_events: int

    def run(self, grid: dict[int, int], is_last: bool) -> tuple[Rows, np.ndarray]:
        """The finished rows of this boot and the memory at its end.

        `grid` gives a periodic task, by index, the origin of its nominal releases where none is
        declared.
        """
        named, first, last = self.named, self.first, self.last
        count = last - first
        columns = [
            column[first:last]
            for column in (
                named.times,
                named.cores,
                named.kinds,
                named.tasks,
                named.others,
                named.things,
                named.numbers,
            )
        ]
        hints, next_core = self._hints(columns)
        rows = Rows()
        sizes = _sizes(named, count)
        memory = arena.build(sizes)
        start_ns = int(columns[0][0]) if count else 0
        fill(memory, named, self.about, next_core, grid, start_ns)
        step = compiled(advance, count)
        times, cores, kinds, tasks, others, things, numbers = columns
        at = 0
        part = self.part_events or count
        while at < count:
            upto = min(count, (at // part + 1) * part)
            reached = step(
                memory, times, cores, kinds, tasks, others, things, numbers, hints, at, upto, first
            )
            rows.collect(memory, reached / count)
            if reached == at and at < upto:
                sizes, memory = _with_room(sizes, memory)
            at = reached
        compiled(end_boot, count)(memory, int(is_last))
        rows.collect(memory, 1.0)
        return rows, memory

    def _hints(self, columns: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
        _, cores, kinds, tasks, others, things, _ = columns
        system = self.named.system
        hints = np.zeros(len(kinds), np.int32)
        next_core = np.full(len(system.tasks), -1, np.int32)
        next_act = np.full(len(system.tasks), -1, np.int32)
        activated = np.zeros(len(system.tasks), np.int32)
        next_isr = np.zeros(max(1, len(system.cores) * len(system.isrs)), np.int32)
        scan: Callable[..., Any] = compiled(look_ahead, len(kinds))
        scan(
            kinds,
            cores,
            tasks,
            others,
            things,
            next_core,
            next_act,
            activated,
            next_isr,
            len(system.isrs),
            hints,
        )
        return hints, next_core


def _sizes(named: Named, events: int) -> Sizes:
    tasks = len(named.system.tasks)
    return Sizes(
        tasks=tasks,
        cores=len(named.system.cores),
        isrs=len(named.system.isrs),
        objects=len(named.objects),
        jobs=2 * tasks + 32,
        holds=2 * tasks + 32,
        items=64,
        rows=min(_BUFFER_ROWS, 2 * events + 64),
    )


def _with_room(sizes: Sizes, memory: np.ndarray) -> tuple[Sizes, np.ndarray]:
    """Memory in which the next event fits: the pools that are used up are doubled."""
    larger = replace(
        sizes,
        jobs=sizes.jobs * (2 if memory[arena.JOBS_LEFT] <= 3 else 1),
        holds=sizes.holds * (2 if memory[arena.HOLDS_LEFT] <= 1 else 1),
        items=sizes.items * (2 if memory[arena.ITEMS_LEFT] <= 1 else 1),
    )
    return larger, arena.grown(memory, sizes, larger)
