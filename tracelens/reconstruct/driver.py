"""Feed the events through the machine, boot by boot, and collect what it writes.

`reconstruct` is the way in. The pass itself is `step.advance`; here its memory is built, filled
with what is declared, given room when it asks for it, and emptied of finished rows.
"""

from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from tracelens.compiled import compiled
from tracelens.model.log import Log
from tracelens.model.results import Timeline
from tracelens.model.system import System
from tracelens.reconstruct import arena
from tracelens.reconstruct.emit import emit_record
from tracelens.reconstruct.frames import timeline
from tracelens.reconstruct.gaps import end_boot
from tracelens.reconstruct.grid import envelopes
from tracelens.reconstruct.lookahead import look_ahead, short_of_items
from tracelens.reconstruct.memory import Sizes, build, grown
from tracelens.reconstruct.names import Named, Numbered, name_events
from tracelens.reconstruct.rows import Rows, joined, too_much
from tracelens.reconstruct.setup import Facts, facts, fill
from tracelens.reconstruct.step import advance

_COUNTERS = [arena.NEXT_JOB, arena.NEXT_WAIT, arena.NEXT_INVERSION, arena.NEXT_DEADLOCK]
"""What is numbered through the whole log, not anew in each boot."""

_TASKS_OF_AN_EVENT = 32

_LEAST_WORK = 1 << 30
_WORK_OF_AN_EVENT = 1024
"""How often a task under way may be looked at, in all: each is, at each event that concerns it."""

_LEAST_ROWS = 1 << 26
_ROWS_AN_EVENT = 32
"""How many rows may be finished: so many an event, but at least so many in all. Each task that is
under way may get a row at each event, so that else a small log could fill memory and disk."""

_BUFFER_ROWS = 50_000
"""Finished rows that a buffer holds before it is emptied; small logs take smaller buffers."""


def reconstruct(log: Log, system: System | None = None, *, part_events: int = 0) -> Timeline:
    """What happened: states, occupants, locks, jobs and ledgers of a log.

    `system` is what holds instead of `log.declared`, if a system file changed it. With
    `part_events` the events are taken in parts of that many, with the same result; it is how
    a log that grows, or is larger than memory, is read.
    """
    named, numbered = name_events(log.events, system or log.declared, log.sources)
    about = facts(named)
    boots: list[Rows] = []
    starts: list[tuple[int, int]] = []
    lost = 0
    counted = np.zeros(len(_COUNTERS), np.int64)
    bounds = _bounds(log, len(numbered.times))
    most = max(_LEAST_ROWS, _ROWS_AN_EVENT * len(numbered.times))
    for number, (first, last) in enumerate(bounds):
        boot = _Boot(named, about, numbered.part(first, last), first, part_events, counted, most)
        is_last = number == len(bounds) - 1
        rows, memory = boot.run({}, is_last)
        if memory[arena.SPLIT_CANDIDATES]:
            rows, memory = boot.run(envelopes(rows, named.system, about), is_last)
        boots.append(rows)
        most -= rows.count
        starts.append((first, int(numbered.times[first]) if last > first else 0))
        lost += int(memory[arena.LOST])
        counted = memory[_COUNTERS].copy()
    span_ns = int(numbered.times[-1]) if len(numbered.times) else 0
    del numbered, boot, memory, rows  # the tables are about as large again
    return timeline(log, named, about, joined(boots), starts, span_ns, lost)


def _bounds(log: Log, events: int) -> list[tuple[int, int]]:
    """The [first, last) event rows of each boot."""
    if not log.restarts:
        return [(0, events)]
    boot = log.events["boot"].to_numpy()
    starts = [0, *(np.flatnonzero(np.diff(boot)) + 1).tolist(), events]
    return list(pairwise(starts))


@dataclass
class _Boot:
    """The events between two starts of the target; `first` is the first one's row in the log.

    `counted` are the numbers of the next job, wait, inversion and deadlock; `most_rows` is how
    many rows may be finished.
    """

    named: Named
    about: Facts
    events: Numbered
    first: int
    part_events: int
    counted: np.ndarray
    most_rows: int

    def run(self, grid: dict[int, int], is_last: bool) -> tuple[Rows, np.ndarray]:
        """The finished rows of this boot and the memory at its end.

        `grid` gives a periodic task, by index, the origin of its nominal releases where none is
        declared.
        """
        e = self.events
        count = len(e.times)
        hints, next_core, idle_at = self._hints()
        rows = Rows(self.named, self.most_rows)
        sizes = _sizes(self.named, count)
        memory = build(sizes)
        memory[_COUNTERS] = self.counted
        memory[arena.MOST_WORK] = max(_LEAST_WORK, _WORK_OF_AN_EVENT * count)
        fill(
            memory,
            self.named,
            self.about,
            next_core,
            idle_at,
            grid,
            int(e.times[0]) if count else 0,
            known_empty := self._known_empty(),
        )
        if self.first == 0:
            for queue in np.flatnonzero(~known_empty):
                emit_record(memory, arena.R_LEVEL, int(queue), 0, arena.NONE)
        # Each event may touch every task: many tasks are as much work as many events.
        work = count * (1 + len(self.named.system.tasks) // _TASKS_OF_AN_EVENT)
        step = compiled(advance, work, pointers=True)
        at = 0
        part = self.part_events or count
        # While the machine goes on, which lets go of the interpreter when it is compiled, other
        # threads copy the rows that it has finished: making room for them takes most of the time.
        with ThreadPoolExecutor(2) as copiers:
            copied: list[Future[None]] = []
            while at < count:
                upto = min(count, (at // part + 1) * part)
                reached = step(
                    memory, e.times, e.cores, e.kinds, e.whos, e.values, hints, at, upto, self.first
                )
                _wait(copied)
                copied = [copiers.submit(copy) for copy in rows.collect(memory, reached / count)]
                if memory[arena.WORK] > memory[arena.MOST_WORK]:
                    _wait(copied)
                    raise too_much(reached / count)
                if reached == at and at < upto:
                    _wait(copied)
                    sizes, memory = _with_room(sizes, memory)
                at = reached
            _wait(copied)
        compiled(end_boot, work, pointers=True)(memory, int(is_last))
        for copy in rows.collect(memory, 1.0):
            copy()
        return rows, memory

    def _known_empty(self) -> np.ndarray:
        """Of each object whether it is taken to be an empty queue at the begin of this boot.

        So is a queue in the log's first boot, unless more is taken out of it than was put in.
        """
        e, objects = self.events, len(self.named.objects)
        short = np.zeros(objects, np.int64)
        if self.first == 0 and self.named.stocked:
            items = np.zeros(objects, np.int64)
            compiled(short_of_items, len(e.kinds))(e.kinds, e.whos, e.values, items, short)
        return np.full(objects, self.first == 0) & (short == 0)

    def _hints(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """What the rest of the boot tells: hints, the core of each first start, starts a core."""
        e, system = self.events, self.named.system
        tasks, cores, isrs = len(system.tasks), len(system.cores), len(system.isrs)
        hints = np.zeros(len(e.kinds), np.int16)
        next_core = np.full(tasks, -1, np.int32)
        next_act = np.full(tasks, -1, np.int64)
        activated = np.zeros(tasks, np.int32)
        next_isr = np.zeros(max(1, cores * isrs), np.int32)
        started = np.zeros(max(1, cores * tasks), np.int32)
        compiled(look_ahead, len(e.kinds))(
            e.kinds, e.cores, e.whos, e.values,
            next_core, next_act, activated, next_isr, isrs, started, tasks, hints,
        )  # fmt: skip
        return hints, next_core, started[: cores * tasks].reshape(cores, tasks)


def _wait(jobs: list[Future[None]]) -> None:
    for job in jobs:
        job.result()


def _sizes(named: Named, events: int) -> Sizes:
    tasks = len(named.system.tasks)
    return Sizes(
        tasks=tasks,
        cores=len(named.system.cores),
        isrs=len(named.system.isrs),
        objects=len(named.objects),
        jobs=2 * tasks + 4 * arena.BATCH,
        holds=2 * tasks + 2 * arena.BATCH,
        items=4 * arena.BATCH,
        rows=min(_BUFFER_ROWS, 2 * events + 64),
    )


def _with_room(sizes: Sizes, memory: np.ndarray) -> tuple[Sizes, np.ndarray]:
    """Memory in which the next event fits: the pools that are used up are doubled."""
    larger = replace(
        sizes,
        jobs=sizes.jobs * (2 if memory[arena.JOBS_LEFT] <= 2 * arena.BATCH else 1),
        holds=sizes.holds * (2 if memory[arena.HOLDS_LEFT] <= arena.BATCH else 1),
        items=sizes.items * (2 if memory[arena.ITEMS_LEFT] <= arena.BATCH else 1),
    )
    return larger, grown(memory, sizes, larger)
