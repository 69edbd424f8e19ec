"""From a log's events to records: who did what, and how long they had run by then."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from tracelens.compiled import compiled
from tracelens.model.results import Timeline
from tracelens.model.system import Isr, System, Task
from tracelens.reconstruct.names import Named, Numbered, name_events
from tracelens.reconstruct.setup import Facts, facts
from tracelens.replay import walked as w
from tracelens.replay.records import WIDTH, Records
from tracelens.replay.walk import MOST_AN_EVENT, walk


@dataclass(frozen=True, slots=True)
class Extracted:
    """What a log tells of each stream.

    `records` are in order of the log. `ran` is the own execution of each stream in the whole log.
    Streams are numbered: the tasks of `named.system.tasks`, then its handlers.
    """

    named: Named
    about: Facts
    events: Numbered
    records: Records
    ran: np.ndarray
    base: np.ndarray  # base priorities at the begin; a higher number is more urgent

    @property
    def system(self) -> System:
        """Everything that the log names, one record a name."""
        return self.named.system


NO_PRIORITY = -(1 << 62)


def extract(run: Timeline) -> Extracted:
    """The records of a run's events."""
    named, events = name_events(run.log.events, run.system)
    about = facts(named)
    system = named.system
    tasks, cores = len(system.tasks), len(system.cores)
    turn = -1 if system.order == "lower_first" else 1
    base = np.array(
        [NO_PRIORITY if t.priority is None else t.priority * turn for t in system.tasks], np.int64
    )
    core = np.zeros((cores, w.CORE_WIDTH), np.int64)
    core[:, w.CUR] = -1
    core[:, w.BLIND] = 1
    task = np.zeros((tasks, w.TASK_WIDTH), np.int64)
    task[:, w.BASE] = base
    task[:, w.REMOTE] = -1
    ran = np.zeros(tasks + len(system.isrs), np.int64)
    has_idle = np.zeros(cores, np.int64)
    if any(about.idle):
        has_idle[:] = 1
    count = len(events.times)
    boots = run.log.events["boot"].to_numpy()
    causes = _causes(run.log.events, system)
    step = compiled(walk, count)
    at, parts = 0, []
    while at < count:
        room = min(2 * (count - at), 4_000_000) + MOST_AN_EVENT * cores + tasks + 64
        out = np.empty((room, WIDTH), np.int64)
        at, made = step(
            events.times, events.cores, events.kinds, events.whos, events.values, boots, causes,
            tasks, len(system.locks), about.late_ns, has_idle, core, task, ran, out, at,
        )  # fmt: skip
        parts.append(out[:made])
    whole = np.concatenate(parts) if parts else np.empty((0, WIDTH), np.int64)
    columns = [np.ascontiguousarray(whole[:, column]) for column in range(WIDTH)]
    return Extracted(named, about, events, Records(*columns), ran, base)


def _causes(events: pl.DataFrame, system: System) -> np.ndarray:
    """The stream that each `release` names as its cause; −1 if it names none that is known."""
    streams: dict[str, int] = {}
    things: tuple[Task | Isr, ...] = (*system.tasks, *system.isrs)
    for number, thing in enumerate(things):
        streams.setdefault(thing.name, number)
        streams.setdefault(thing.id, number)
    found = events.select(
        pl.when(pl.col("event") == "release")
        .then(pl.col("value").cast(pl.String).replace_strict(streams, default=-1))
        .otherwise(-1)
        .fill_null(-1)
        .cast(pl.Int32)
    )
    return found.to_series().to_numpy()
