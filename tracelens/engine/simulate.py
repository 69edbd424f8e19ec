"""One run of a task set: its log, and what truly happened."""

from dataclasses import dataclass, fields, replace
from functools import cached_property
from io import BytesIO

import polars as pl

from tracelens.engine.build import build
from tracelens.engine.check import check
from tracelens.engine.loop import run
from tracelens.engine.tables import Tables, events
from tracelens.errors import UsageError
from tracelens.log import render_declarations, write
from tracelens.model.system import System
from tracelens.model.taskset import TaskSet


@dataclass(frozen=True, slots=True)
class Truth:
    """What happened, from the machine's own state. The tables are those of `model.tables`.

    Names are an Enum over the run's names. The span is [0, span_ns). `dropped` counts, by
    queue, the items that found it full; `lost_requests`, by handler, those that the hardware
    forgot because one was waiting already.
    """

    span_ns: int
    jobs: pl.DataFrame
    episodes: pl.DataFrame
    inversions: pl.DataFrame
    third_parties: pl.DataFrame
    deadlocks: pl.DataFrame
    occupancy: pl.DataFrame
    isr_runs: pl.DataFrame
    dropped: dict[str, int]
    lost_requests: dict[str, int]

    def tables(self) -> dict[str, pl.DataFrame]:
        """The tables by name."""
        found = {field.name: getattr(self, field.name) for field in fields(self)}
        return {name: table for name, table in found.items() if isinstance(table, pl.DataFrame)}


@dataclass(frozen=True)
class Simulated:
    """A run. `events` has the columns of `model.events.EVENTS`; `declared` is what its log says."""

    taskset: TaskSet
    seed: int
    declared: System
    events: pl.DataFrame
    truth: Truth

    @cached_property
    def log(self) -> bytes:
        """The event log, version 1: what firmware would have printed."""
        file = BytesIO()
        write(self.events, self.declared, file)
        return file.getvalue()


def simulate(
    taskset: TaskSet,
    *,
    seed: int | None = None,
    until_ns: int | None = None,
    most_events: int | None = None,
) -> Simulated:
    """Run a task set over [0, until_ns).

    `seed` and `until_ns` default to the task set's own, then to 0 and to an error. The same task
    set and seed give the same events, bit for bit; what is drawn depends on (seed, task, job)
    alone, so two policies get the same work.
    With `most_events`, a set that has more to do than that before the end is given up.
    Raises `SystemFileError` for a task set that makes no sense, `UsageError` without an end, and
    for one that was given up.
    """
    check(taskset)
    seed = taskset.seed or 0 if seed is None else seed
    until_ns = taskset.until_ns if until_ns is None else until_ns
    if until_ns is None or until_ns <= 0:
        raise UsageError(
            "no end of the run: found "
            f"{'none' if until_ns is None else f'{until_ns} ns'}, expected a time after 0",
            place=taskset.place,
            hint="give --until, or until_us under [simulation]",
        )
    due = sum(until_ns // task.period_ns for task in taskset.system.tasks if task.period_ns)
    if most_events is not None and due > most_events:
        raise UsageError(
            f"too much happens: found {due} releases of periodic tasks until the end, expected at "
            f"most {most_events} events",
            place=taskset.place,
            hint="end the run earlier",
        )
    machine = build(taskset, seed)
    until = machine.ticks(until_ns)
    if not run(machine, until, most_events):
        reached = machine.now * 1000 // machine.ticks.hz
        raise UsageError(
            f"too much happens: found more than {most_events} events by {reached} ms, expected at "
            f"most that until the end, at {until_ns // 1_000_000} ms",
            place=taskset.place,
            hint="end the run earlier, or let less happen in it",
        )
    declared = _declared(taskset.system)
    tokens = {
        **{task.name: task.id for task in declared.tasks},
        **{isr.name: isr.id for isr in declared.isrs},
        **{lock.name: lock.id for lock in declared.locks},
        **{queue.name: queue.id for queue in declared.queues},
    }
    first_line = len(render_declarations(declared)) + 2  # the column names stand between
    tables = Tables(machine, until)
    inversions, third_parties = tables.inversions()
    names = machine.things.names
    hz = machine.ticks.hz
    truth = Truth(
        span_ns=until // hz * 1_000_000_000 + until % hz * 1_000_000_000 // hz,
        jobs=tables.jobs(),
        episodes=tables.episodes(),
        inversions=inversions,
        third_parties=third_parties,
        deadlocks=tables.deadlocks(),
        occupancy=tables.occupancy(),
        isr_runs=tables.isr_runs(),
        dropped={names[queue.name]: queue.dropped for queue in machine.queues},
        lost_requests={names[handler.name]: handler.lost for handler in machine.handlers},
    )
    return Simulated(taskset, seed, declared, events(machine, tokens, first_line), truth)


def _declared(system: System) -> System:
    """The system as a log declares it: an activation by a queue is the queue's id."""
    ids = {queue.name: queue.id for queue in system.queues}
    tasks = (
        replace(task, activation=ids.get(task.activation or "", task.activation))
        for task in system.tasks
    )
    return replace(system, tasks=tuple(tasks), chains=())
