"""Trying repairs: each is replayed, and they are ranked by what is left wrong."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Final

import polars as pl

from tracelens.reconstruct import reconstruct
from tracelens.replay.change import changed
from tracelens.replay.changes import Change
from tracelens.replay.machine import replayed
from tracelens.replay.plan import Plan
from tracelens.replay.power import Drawn, savings
from tracelens.replay.repairs import Repair, repairs
from tracelens.replay.run import Replayer, compared

SLOWER: Final = (0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.25)
FASTER: Final = (1.1, 1.25, 1.5, 2.0, 3.0)
"""Clocks that are tried: slower ones while every deadline is met, or faster ones until it is."""

WORTH_A_PROCESS: Final = 300_000
"""Events to be replayed, all repairs together, from which on two processes pay."""


@dataclass(frozen=True, slots=True)
class Tried:
    """A repair that was replayed.

    `misses` are those left, of all tasks. `worst_lateness_ns` is the largest response − deadline of
    any job, negative if every deadline is met; None without deadlines. `tasks` is as
    `Prediction.tasks`; `worse` and `better` name those that it moves.
    """

    repair: Repair
    misses: int
    worst_lateness_ns: int | None
    tasks: pl.DataFrame
    worse: tuple[str, ...]
    better: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Saving:
    """What a change would save: the run draws `drawn`; `misses` and `worse` are its price."""

    repair: Repair
    drawn: Drawn
    misses: int
    worse: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Advice:
    """What a search found, the best first.

    Fewest misses first, then the least late; where nothing is late, the smallest change first, and
    of equally small ones that which leaves most time. `slowest_clock` is the slowest of
    `SLOWER`, 1 and `FASTER` at which no deadline is missed, and `clock` what was predicted at it;
    None where there is no such clock, or no deadline. `savings` are what currents are declared for:
    the run as recorded, then what was tried to draw less, the thriftiest first.
    """

    unchanged: Tried
    tried: tuple[Tried, ...]
    slowest_clock: float | None
    clock: Tried | None
    savings: tuple[Saving, ...]


def search(
    replayer: Replayer, *, processes: int = 2, say: Callable[[str], None] = lambda _what: None
) -> Advice:
    """Try the repairs that make sense for a run."""
    unchanged = _judge(replayer, Repair("as recorded", ()), replayer.predict().tasks)
    wanted = repairs(replayer.recorded, replayer.plan)
    found = []
    for number, tasks in enumerate(_all(replayer, wanted, processes)):
        say(f"trying repair {number + 1} of {len(wanted)}")
        found.append(_judge(replayer, wanted[number], tasks))
    found.sort(key=_rank)
    slowest, clock = _slowest(replayer, unchanged, say)
    return Advice(unchanged, tuple(found), slowest, clock, _savings(replayer, slowest, say))


def _savings(
    replayer: Replayer, clock: float | None, say: Callable[[str], None]
) -> tuple[Saving, ...]:
    """The run as recorded, and fewer wake-ups and the slowest clock, by what they draw."""
    if replayer.recorded.system.power is None:
        return ()
    wanted = [Repair("as recorded", ())]
    wanted += [Repair(*saving) for saving in savings(replayer.unchanged, replayer.plan)]
    if clock is not None and clock < 1:
        wanted.append(Repair(f"a clock of {clock:g}", (Change("clock", factor=clock),)))
    found = []
    for repair in wanted:
        say(f"measuring {repair.what}")
        prediction = replayer.predict(repair.changes)
        if prediction.power is not None:
            judged = _judge(replayer, repair, prediction.tasks)
            found.append(Saving(repair, prediction.power[1], judged.misses, judged.worse))
    return (*found[:1], *sorted(found[1:], key=lambda one: one.drawn.average_ma))


def _rank(one: Tried) -> tuple[int, int, int, int]:
    lateness = one.worst_lateness_ns if one.worst_lateness_ns is not None else 0
    return one.misses, max(0, lateness), one.repair.size, lateness


def _judge(replayer: Replayer, repair: Repair, tasks: pl.DataFrame) -> Tried:
    lateness = tasks["predicted_worst_lateness_ns"].max()
    return Tried(
        repair,
        int(tasks["predicted_misses"].fill_null(0).sum()),
        lateness if isinstance(lateness, int) else None,
        tasks,
        tuple(tasks.filter(pl.col("change") == "worse")["task"].to_list()),
        tuple(tasks.filter(pl.col("change") == "better")["task"].to_list()),
    )


def _all(replayer: Replayer, wanted: Sequence[Repair], processes: int) -> Iterator[pl.DataFrame]:
    """The table of tasks of each repair, in order."""
    events = len(replayer.unchanged.log.events)
    if processes < 2 or events * len(wanted) < WORTH_A_PROCESS:
        for repair in wanted:
            yield replayer.predict(repair.changes).tasks
        return
    before = (replayer.recorded.jobs, replayer.unchanged.jobs)
    fixed = _Fixed(replayer.plan, *before, replayer.fidelity.tolerance_ns)
    # A fresh process, not a forked one: the table library's threads do not survive a fork.
    context = get_context("spawn")
    with ProcessPoolExecutor(processes, context, _begin, (fixed,)) as pool:
        yield from pool.map(_tasks, [repair.changes for repair in wanted])


@dataclass(frozen=True, slots=True)
class _Fixed:
    """What every repair is held against, small enough to be sent to a process."""

    plan: Plan
    recorded: pl.DataFrame
    unchanged: pl.DataFrame
    tolerance_ns: int


_held: list[_Fixed] = []


def _begin(fixed: _Fixed) -> None:
    _held[:] = [fixed]


def _tasks(changes: tuple[Change, ...]) -> pl.DataFrame:
    fixed = _held[0]
    run = reconstruct(replayed(changed(fixed.plan, changes)))
    return compared(
        fixed.recorded, fixed.unchanged, run.jobs, fixed.plan.system, run.system, fixed.tolerance_ns
    )


def _slowest(
    replayer: Replayer, unchanged: Tried, say: Callable[[str], None]
) -> tuple[float | None, Tried | None]:
    """The slowest clock at which every deadline is met."""
    if unchanged.worst_lateness_ns is None:
        return None, None
    found: tuple[float | None, Tried | None] = (None, None)
    if not unchanged.misses:
        found = 1.0, unchanged
    for factor in FASTER if unchanged.misses else SLOWER:
        say(f"trying a clock of {factor:g}")
        repair = Repair(f"a clock of {factor:g}", (Change("clock", factor=factor),))
        tried = _judge(replayer, repair, replayer.predict(repair.changes).tasks)
        if not tried.misses:
            found = factor, tried
        if (not tried.misses) == bool(unchanged.misses):
            break
    return found
