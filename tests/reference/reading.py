"""The reference reading of an event log: the raw lists, and the report's document.

Slow and plain on purpose. It reads a log from the definitions alone, and is what the fast
reconstruction is held against.
"""

import gzip
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.reference.axis import lay_out
from tests.reference.inversions import Inversion, find
from tests.reference.job import Job
from tests.reference.jobs import derive
from tests.reference.ledger import Occupant, Reader, Row, slices, write_ledgers
from tests.reference.lines import NO_TASK, Text, read
from tests.reference.replay import replay
from tests.reference.world import IsrRun, World


@dataclass
class Result:
    """Raw lists of plain tuples, times in ns; columns as the reconstruction's tables name them.

    states          (task, start, end, state, core, waits_for)
    occupancy       (core, start, end, occupant, who)
    jobs            (task, release, first_start, end, status, inferred, hidden, execution)
    ledgers         {(task, job): {(entry, by, via): ns}}, of every job, numbered from 1
    holds           (lock, task, start, end, own, complete)
    lock_waits      (lock, wanted, task, start, end, spun, got, owner)
    inversions      (kind, victim, lock, chain, start, end, holder, third party, raised,
                     ((third party, ns), …))
    deadlocks       (at, tasks, locks)
    isr_runs        (isr, core, start, end, own, pend, complete)
    queue_levels    (queue, at, items)
    queue_items     (queue, send, receive)
    masks           (core, what, who, start, end)
    contradictions  (line, core, ran, acted, start, end)
    repairs         (line, reason)
    """

    text: Text
    world: World
    document: dict[str, Any] = field(default_factory=dict)
    states: list[tuple[Any, ...]] = field(default_factory=list)
    occupancy: list[tuple[Any, ...]] = field(default_factory=list)
    jobs: list[tuple[Any, ...]] = field(default_factory=list)
    ledgers: dict[tuple[str, int], dict[Row, int]] = field(default_factory=dict)
    holds: list[tuple[Any, ...]] = field(default_factory=list)
    lock_waits: list[tuple[Any, ...]] = field(default_factory=list)
    inversions: list[tuple[Any, ...]] = field(default_factory=list)
    deadlocks: list[tuple[Any, ...]] = field(default_factory=list)
    isr_runs: list[tuple[Any, ...]] = field(default_factory=list)
    queue_levels: list[tuple[Any, ...]] = field(default_factory=list)
    queue_items: list[tuple[Any, ...]] = field(default_factory=list)
    masks: list[tuple[Any, ...]] = field(default_factory=list)
    contradictions: list[tuple[Any, ...]] = field(default_factory=list)
    repairs: list[tuple[Any, ...]] = field(default_factory=list)


def analyse_file(path: str | Path) -> Result:
    """Read a log from a file, which may be compressed with gzip."""
    data = Path(path).read_bytes()
    if data.startswith(b"\x1f\x8b"):
        data = gzip.decompress(data)
    return analyse_text(data.decode("utf-8", errors="replace"))


def analyse_text(log: str) -> Result:
    """Read a log from its text."""
    from tests.reference.document import document

    text = read(log)
    axis = lay_out(text)
    world = replay(text, axis)
    jobs = derive(world)
    reader = Reader(world, jobs)
    write_ledgers(world, reader)
    inversions = find(world, reader)
    result = Result(text, world)
    _write_states(result)
    _write_occupancy(result, reader)
    _write_jobs(result, jobs)
    _write_locks(result)
    _write_inversions(result, inversions)
    _write_isrs_and_queues(result)
    result.document = document(result, axis)
    return result


def _write_states(result: Result) -> None:
    for name, task in sorted(result.world.tasks.items()):
        for start, end, state in task.state.intervals(result.world.span):
            result.states.append((name, start, end, state.state, state.core, state.waits_for))


def _write_occupancy(result: Result, reader: Reader) -> None:
    world = result.world
    for core in world.cores:
        begun: tuple[int, Occupant] | None = None
        for a, _ in slices(world, 0, world.span):
            occupant = reader.occupant(core, a)
            if occupant.kind == "idle":
                running = world.cores[core].running.at(a)
                occupant = Occupant("idle", running)
            if begun is None:
                begun = (a, occupant)
            elif begun[1] != occupant:
                result.occupancy.append((core, begun[0], a, begun[1].kind, begun[1].who))
                begun = (a, occupant)
        if begun:
            result.occupancy.append((core, begun[0], world.span, begun[1].kind, begun[1].who))


def _write_jobs(result: Result, jobs: list[Job]) -> None:
    for job in jobs:
        assert job.end is not None
        hidden = job.hidden if job.status == "complete" else 0
        result.jobs.append(
            (
                job.task,
                job.release,
                job.first_start,
                job.end,
                job.status,
                job.inferred,
                hidden,
                job.execution,
            )
        )
        result.ledgers[job.task, job.number] = job.ledger


def _overlap(intervals: list[tuple[int, int]], start: int, end: int) -> int:
    return sum(max(0, min(b, end) - max(a, start)) for a, b in intervals)


def executions(result: Result) -> dict[str, list[tuple[int, int]]]:
    """Where each task occupies a core and does not spin for a lock."""
    spins: dict[str, list[tuple[int, int]]] = {}
    for wait in result.world.lock_waits:
        if wait.spun:
            assert wait.end is not None
            spins.setdefault(wait.task, []).append((wait.start, wait.end))
    out: dict[str, list[tuple[int, int]]] = {}
    for _, start, end, kind, who in result.occupancy:
        if who is None or kind == "isr":
            continue
        pieces = [(start, end)]
        for a, b in spins.get(who, []):
            pieces = [
                piece
                for s, e in pieces
                for piece in ((s, min(e, a)), (max(s, b), e))
                if piece[1] > piece[0]
            ]
        out.setdefault(who, []).extend(pieces)
    for intervals in out.values():
        intervals.sort()
    return out


def _write_locks(result: Result) -> None:
    from bisect import bisect_left

    own = executions(result)
    for hold in result.world.holds:
        assert hold.end is not None
        intervals = own.get(hold.task, [])
        first = max(0, bisect_left(intervals, (hold.start, -1)) - 1)
        last = bisect_left(intervals, (hold.end, -1))
        task = None if hold.task == NO_TASK else hold.task
        result.holds.append(
            (
                hold.lock,
                task,
                hold.start,
                hold.end,
                _overlap(intervals[first:last], hold.start, hold.end),
                hold.complete,
            )
        )
    result.holds.sort(key=lambda row: (row[2], row[3], row[0], row[1] or ""))
    for wait in result.world.lock_waits:
        result.lock_waits.append(
            (
                wait.lock,
                wait.wanted,
                wait.task,
                wait.start,
                wait.end,
                wait.spun,
                wait.got,
                wait.owner,
            )
        )


def _write_inversions(result: Result, inversions: list[Inversion]) -> None:
    for one in inversions:
        result.inversions.append(
            (
                one.kind,
                one.victim,
                one.lock,
                tuple(one.chain),
                one.start,
                one.end,
                one.holder,
                one.third_party,
                one.raised,
                tuple(sorted(one.third_parties.items())),
            )
        )
    for deadlock in result.world.deadlocks:
        result.deadlocks.append((deadlock.at, tuple(deadlock.tasks), tuple(deadlock.locks)))


def _write_isrs_and_queues(result: Result) -> None:
    world = result.world
    own: Counter[IsrRun] = Counter()
    for core in world.cores.values():
        for a, b in slices(world, 0, world.span):
            innermost = core.isr.at(a)
            if innermost and not core.blackout.at(a):
                own[innermost] += b - a
    for run in world.isr_runs:
        result.isr_runs.append(
            (
                run.isr,
                run.core,
                run.start,
                run.end,
                min(own[run], run.end - run.start),
                run.pend,
                run.complete,
            )
        )
    result.isr_runs.sort(key=lambda row: (row[2], row[1], row[3], row[0]))
    for name, queue in sorted(world.queues.items()):
        items: int | None = 0
        for at, level in zip(queue.level.times, queue.level.values, strict=True):
            if level != items:
                result.queue_levels.append((name, at, level))
            items = level
    for item in world.items:
        result.queue_items.append((item.queue, item.sent, item.received))
    result.masks = sorted(world.masks)
    result.contradictions = [
        (c.line, c.core, c.ran, c.acted, c.start, c.end) for c in world.contradictions
    ]
    result.repairs = list(world.repairs)
