"""How long all measures take on the tables that ten million events make; run it by hand.

    python -m tests.measures.timing [share of the full size]

The tables are random but keep the promises of `model.tables`: 5 million occupancy rows on two
cores, 2 million jobs of 30 tasks of which 1 % are late, 15 million episodes, 7 million task states,
and a fitting number of locks, items and interrupts.
"""

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import polars as pl

from tests.frames import timeline
from tracelens.analysis import analyse
from tracelens.findings.ranking import find
from tracelens.measures import (
    chains,
    cut,
    interrupts,
    ledgers,
    load,
    locks,
    phases,
    quality,
    queues,
    sleep,
    tasks,
)
from tracelens.model.columns import Entry, Name, State, Table
from tracelens.model.events import EVENT, EVENTS
from tracelens.model.results import Timeline
from tracelens.model.system import Chain, Isr, Lock, Queue, System, Task
from tracelens.model.tables import RECONSTRUCTED

TASKS = [f"task{i}" for i in range(30)]
ISRS = [f"isr{i}" for i in range(5)]
LOCKS = [f"lock{i}" for i in range(8)]
QUEUES = [f"queue{i}" for i in range(4)]
NAMES = [*TASKS, *ISRS, *LOCKS, *QUEUES, "delay", "mask"]
Random = np.random.Generator


def big_run(share: float = 1.0, late: float = 0.01) -> Timeline:
    rng = np.random.default_rng(7)
    occupancy = _occupancy(rng, int(2_500_000 * share))
    span_ns = int(occupancy["end_ns"].max())
    jobs = _jobs(rng, int(2_000_000 * share), span_ns, late)
    tables = {
        "occupancy": occupancy,
        "jobs": jobs,
        "episodes": _episodes(rng, int(15_000_000 * share), jobs.height),
        "task_states": _states(rng, int(7_000_000 * share), span_ns),
        "isr_runs": _isr_runs(rng, int(1_000_000 * share), span_ns),
        "holds": _holds(rng, int(500_000 * share), span_ns),
        "lock_waits": _waits(rng, int(50_000 * share), span_ns),
        "queue_items": _items(rng, int(300_000 * share), span_ns),
    }
    system = System(
        order="higher_first",
        tasks=tuple(
            Task(f"t{i}", name, priority=i, period_ns=span_ns // (jobs.height // 30), deadline_ns=9)
            for i, name in enumerate(TASKS)
        ),
        isrs=tuple(Isr(f"i{i}", name) for i, name in enumerate(ISRS)),
        locks=tuple(Lock(f"m{i}", name) for i, name in enumerate(LOCKS)),
        queues=tuple(Queue(f"q{i}", name, depth=8) for i, name in enumerate(QUEUES)),
        chains=(Chain("stitch", ("isr0", "task1", "task2"), 10_000_000),),
    )
    empty = timeline(span_ns=span_ns, system=system)
    made = {name: tables.get(name, getattr(empty, name)) for name in RECONSTRUCTED}

    events = _events(rng, int(10_000_000 * share), span_ns, jobs)
    return replace(empty, log=replace(empty.log, events=events), **made)


def _frame(contract: Table, columns: dict[str, Any]) -> pl.DataFrame:
    made = []
    for column, dtype in contract.schema().items():
        values = columns[column]
        series = values if isinstance(values, pl.Series) else pl.Series(values)
        if dtype is Name:
            series = series.cast(pl.UInt8).cat.to(pl.Enum(NAMES))
        elif isinstance(dtype, pl.Enum):
            series = series.cast(pl.UInt8).cat.to(dtype)
        else:
            series = series.cast(dtype)
        made.append(series.alias(column))
    return pl.DataFrame(made)


def _tiles(rng: Random, rows: int, span_ns: int | None = None) -> tuple[Any, Any]:
    lengths = rng.integers(200, 20_000, rows)
    ends = np.cumsum(lengths)
    if span_ns is not None:
        ends = (ends * (span_ns / ends[-1])).astype(np.int64)
        ends[-1] = span_ns
    return np.concatenate([[0], ends[:-1]]), ends


def _occupancy(rng: Random, rows: int) -> pl.DataFrame:
    parts, span_ns = [], None
    for core in (0, 1):
        starts, ends = _tiles(rng, rows, span_ns)
        span_ns = int(ends[-1])
        occupant = rng.choice(6, rows, p=[0.2, 0.05, 0.5, 0.15, 0.0995, 0.0005])
        who = np.where(occupant == 0, rng.integers(30, 35, rows), rng.integers(0, 30, rows))
        who_or_nobody = pl.Series(who.astype(np.uint8)).set(
            pl.Series((occupant != 0) & (occupant != 2)), None
        )
        columns = {
            "core": np.full(rows, core),
            "start_ns": starts,
            "end_ns": ends,
            "occupant": occupant,
            "who": who_or_nobody,
        }
        parts.append(_frame(RECONSTRUCTED["occupancy"], columns))
    return pl.concat(parts)


def _jobs(rng: Random, rows: int, span_ns: int, late: float) -> pl.DataFrame:
    each = rows // 30
    rows = each * 30
    period_ns = span_ns // each
    number = np.tile(np.arange(each), 30)
    release = number * period_ns + rng.integers(0, period_ns // 8, rows)
    response = rng.integers(period_ns // 8, period_ns // 2, rows)
    line = np.arange(rows)
    return _frame(
        RECONSTRUCTED["jobs"],
        {
            "job_id": line,
            "task": np.repeat(np.arange(30), each),
            "job": number + 1,
            "release_ns": release,
            "start_ns": release + rng.integers(0, period_ns // 8, rows),
            "end_ns": release + response,
            "status": rng.choice(4, rows, p=[0.99, 0, 0.008, 0.002]),
            "inferred": rng.random(rows) < 0.01,
            "hidden": np.zeros(rows, int),
            "execution_ns": response // 2,
            "deadline_ns": np.full(rows, 9),
            "response_ns": response,
            "late": rng.random(rows) < late,
            "release_part": np.zeros(rows, int),
            "release_line": line,
            "end_part": np.zeros(rows, int),
            "end_line": line + rows,
        },
    )


def _episodes(rng: Random, rows: int, jobs: int) -> pl.DataFrame:
    starts = np.arange(rows) * 10
    return _frame(
        RECONSTRUCTED["episodes"],
        {
            "job_id": np.sort(rng.integers(0, jobs, rows)),
            "start_ns": starts,
            "end_ns": starts + rng.integers(1, 10, rows),
            "entry": rng.integers(0, len(Entry.categories), rows),
            "by": rng.integers(0, 35, rows),
            "via": rng.integers(35, 48, rows),
        },
    )


def _states(rng: Random, rows: int, span_ns: int) -> pl.DataFrame:
    each = rows // 30
    starts, ends = zip(*(_tiles(rng, each, span_ns) for _ in range(30)), strict=True)
    rows = each * 30
    return _frame(
        RECONSTRUCTED["task_states"],
        {
            "task": np.repeat(np.arange(30), each),
            "start_ns": np.concatenate(starts),
            "end_ns": np.concatenate(ends),
            "state": rng.integers(0, len(State.categories), rows),
            "core": rng.integers(0, 2, rows),
            "waits_for": rng.integers(35, 48, rows),
        },
    )


def _isr_runs(rng: Random, rows: int, span_ns: int) -> pl.DataFrame:
    starts = np.sort(rng.integers(0, span_ns - 500, rows))
    return _frame(
        RECONSTRUCTED["isr_runs"],
        {
            "isr": rng.integers(30, 35, rows),
            "core": rng.integers(0, 2, rows),
            "start_ns": starts,
            "end_ns": starts + rng.integers(1, 500, rows),
            "own_ns": rng.integers(1, 500, rows),
            "pend_ns": starts - rng.integers(0, 50, rows),
            "complete": np.ones(rows, bool),
        },
    )


def _holds(rng: Random, rows: int, span_ns: int) -> pl.DataFrame:
    starts = np.sort(rng.integers(0, span_ns - 500, rows))
    return _frame(
        RECONSTRUCTED["holds"],
        {
            "lock": rng.integers(35, 43, rows),
            "task": rng.integers(0, 30, rows),
            "start_ns": starts,
            "end_ns": starts + rng.integers(1, 500, rows),
            "own_ns": rng.integers(1, 500, rows),
            "complete": np.ones(rows, bool),
        },
    )


def _waits(rng: Random, rows: int, span_ns: int) -> pl.DataFrame:
    starts = np.sort(rng.integers(0, span_ns - 500, rows))
    lock = rng.integers(35, 43, rows)
    return _frame(
        RECONSTRUCTED["lock_waits"],
        {
            "lock": lock,
            "wanted": lock,
            "task": rng.integers(0, 30, rows),
            "start_ns": starts,
            "end_ns": starts + rng.integers(1, 500, rows),
            "spun": rng.random(rows) < 0.05,
            "got": np.ones(rows, bool),
            "owner": rng.integers(0, 30, rows),
        },
    )


def _items(rng: Random, rows: int, span_ns: int) -> pl.DataFrame:
    sent = np.sort(rng.integers(0, span_ns - 5000, rows))
    return _frame(
        RECONSTRUCTED["queue_items"],
        {
            "queue": rng.integers(43, 47, rows),
            "send_ns": sent,
            "receive_ns": sent + rng.integers(1, 5000, rows),
        },
    )


def _events(rng: Random, rows: int, span_ns: int, jobs: pl.DataFrame) -> pl.DataFrame:
    """Events in the usual mix; the first lines are the releases of the jobs."""
    words = rng.choice(25, rows, p=_mix())
    subjects = [f"t{i}" for i in range(30)]
    values = ["", "delay", *(f"q{i}" for i in range(4)), *(f"i{i}" for i in range(5))]
    return pl.DataFrame(
        {
            "part": pl.Series(np.zeros(rows, np.uint16)),
            "line": pl.Series(np.arange(rows, dtype=np.uint32)),
            "boot": pl.Series(np.zeros(rows, np.uint16)),
            "time_ns": np.sort(rng.integers(0, span_ns, rows)),
            "core": pl.Series(rng.integers(0, 2, rows).astype(np.uint8)),
            "event": pl.Series(words.astype(np.uint8)).cat.to(EVENT),
            "subject": _tokens(rng, subjects, rows),
            "value": _tokens(rng, values, rows),
        },
        schema=EVENTS,
    )


def _tokens(rng: Random, tokens: list[str], rows: int) -> pl.Series:
    codes = rng.integers(0, len(tokens), rows).astype(np.uint8)
    return pl.Series(codes).cat.to(pl.Enum(tokens)).cast(pl.Categorical())


def _mix() -> list[float]:
    usual = {1: 0.3, 3: 0.17, 4: 0.2, 9: 0.1, 10: 0.1, 15: 0.05, 16: 0.05, 17: 0.015, 18: 0.0149}
    rare = {20: 0.00005, 23: 0.00005}
    return [usual.get(code, rare.get(code, 0.0)) for code in range(25)]


def _timed(what: str, do: Callable[[], Any], times: int = 3) -> Any:
    best = float("inf")
    for _ in range(times):
        begin = time.perf_counter()
        result = do()
        best = min(best, time.perf_counter() - begin)
    sys.stdout.write(f"{best * 1e3:8.1f} ms  {what}\n")
    return result


def main() -> None:
    run = big_run(float(sys.argv[1]) if len(sys.argv) > 1 else 1.0)
    windows = ((0, run.span_ns),)
    spent = _timed("totals of the occupancy", lambda: load.totals(run.occupancy))
    asleep = _timed("sleep", lambda: sleep.sleep(run, spent, windows))
    _timed("cores, with the exact peak", lambda: load.cores(run, spent, asleep, windows))
    _timed("tasks", lambda: tasks.tasks(run, run.lock_waits, spent, windows))
    _timed("isrs", lambda: interrupts.isrs(run, spent))
    _timed("locks", lambda: locks.locks(run))
    _timed("queues", lambda: queues.queues(run, windows))
    _timed("ledgers", lambda: ledgers.ledgers(run.jobs, run.episodes))
    _timed("phases", lambda: phases.phases(run.log, run.span_ns))
    _timed("masked", lambda: interrupts.masked(run.masks))
    _timed("quality", lambda: quality.quality(run, spent))
    found = _timed("one chain", lambda: chains.chain_instances(run, windows))
    _timed("its summary", lambda: chains.chains(run, found))
    analysis = _timed("all of it, with findings", lambda: analyse(run))
    _timed("the findings alone", lambda: find(analysis))
    half = (run.span_ns // 4, 3 * run.span_ns // 4)
    _timed("cutting the run to its middle half", lambda: cut.cut(run, (half,)))
    _timed("all of it over that half", lambda: analyse(run, window=half))
    grid = tuple((run.span_ns * i // 1000, run.span_ns * (i + 1) // 1000) for i in range(1000))
    _timed("load of everything in 1000 windows", lambda: load.load_windows(run.occupancy, grid))


if __name__ == "__main__":
    main()
