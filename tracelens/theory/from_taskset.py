"""A task set as the analysis sees it: the worst that its programs may do."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

from tracelens.errors import SystemFileError
from tracelens.model.system import System, Task
from tracelens.model.taskset import Program, Step, TaskSet
from tracelens.theory.workload import (
    EVERYBODY,
    Contender,
    LockRule,
    Section,
    Stream,
    Trigger,
    Workload,
)

TICK: Final = "tick"
"""The handler in which a kernel with a tick releases by time."""


@dataclass(frozen=True, slots=True)
class _Body:
    """What one pass through a program amounts to."""

    cost_ns: int
    suspension_ns: int
    suspensions: int
    chunks: tuple[int, ...]
    sections: tuple[Section, ...]
    requests: tuple[str, ...]
    final: tuple[int, str] | None  # the section that the job ends with: length, lock
    sent: tuple[tuple[str, str, int], ...]  # kind, what, least time before it
    receives: str | None


def workload(taskset: TaskSet) -> Workload:
    """The contenders of a task set, each with its longest job.

    Execution times and suspensions count with their upper ends, separations with their lower.
    A task without a deadline has its period as one. Raises `SystemFileError` for a body that never
    gives a lock back.
    """
    system, kernel = taskset.system, taskset.kernel
    sign = -1 if system.order == "lower_first" else 1
    locks = {
        lock.name: LockRule(
            "original_ceiling"
            if lock.name in taskset.original_ceiling
            else (lock.protocol or "none"),
            None if lock.ceiling is None else sign * lock.ceiling,
        )
        for lock in system.locks
    }
    bodies = {name: _worst(name, program, taskset) for name, program in taskset.programs.items()}
    contenders = [
        _handler(isr.name, isr.priority, sign, taskset.programs.get(isr.name), bodies)
        for isr in system.isrs
    ]
    number = _cores(system)
    for task in system.tasks:
        if not task.idle:
            contenders.append(_task(task, sign, taskset, bodies, locks, number > 1))
    notes = []
    if any(queue.depth and queue.name not in taskset.drops for queue in system.queues):
        notes.append("No queue is taken to fill up: a sender's wait for room is not counted.")
    return Workload(
        contenders=tuple(contenders),
        locks=locks,
        policy=system.policy,
        preemptive=kernel.preemptive,
        switch_ns=kernel.switch_ns,
        wake_ns=kernel.wake_ns if kernel.sleep else 0,
        core_names={core.id: core.name for core in system.cores},
        number=number,
        notes=tuple(notes),
    )


def _cores(system: System) -> int:
    return 1 + max([core.id for core in system.cores] + [task.core or 0 for task in system.tasks])


def _handler(
    name: str, priority: int | None, sign: int, program: Program | None, bodies: dict[str, _Body]
) -> Contender:
    program = program or Program()
    body = bodies.get(name) or _EMPTY
    streams, cannot = _streams(program, program.period_ns)
    return Contender(
        name=name,
        core=program.core or 0,
        level=sign * (priority or 0),
        priority=priority,
        streams=streams,
        cost_ns=body.cost_ns,
        handler=True,
        jitter_ns=program.jitter_ns,
        offset_ns=program.offset_ns if program.period_ns is not None else None,
        cannot=cannot if streams else cannot or "nothing requests it",
    )


def _task(
    task: Task,
    sign: int,
    taskset: TaskSet,
    bodies: dict[str, _Body],
    locks: dict[str, LockRule],
    many: bool,
) -> Contender:
    program = taskset.programs.get(task.name, Program())
    body = bodies.get(task.name) or _EMPTY
    queues = {queue.name for queue in taskset.system.queues}
    triggers = tuple(
        Trigger(source, least)
        for source, other in bodies.items()
        for kind, what, least in other.sent
        if (kind == "send" and what == task.activation)
        or (kind == "activate" and what == task.name)
    )
    streams: tuple[Stream, ...] = ()
    cannot = None
    after = None
    jitter = program.jitter_ns
    if task.activation not in queues:
        streams, cannot = _streams(program, task.period_ns)
        tick = taskset.kernel.tick_ns
        if streams and tick:
            after = TICK
            first = task.offset_ns or program.offset_ns
            on_ticks = not jitter and (task.period_ns or 1) % tick == 0 and first % tick == 0
            jitter += 0 if on_ticks and program.releases_ns is None else tick
        streams = tuple(replace(stream, jitter_ns=jitter) for stream in streams)
    if not streams and not triggers:
        cannot = cannot or "nothing releases it"
    if body.receives is not None:
        cannot = f"it waits for an item of {body.receives} in the middle of a job"
        streams, triggers = (), ()  # nor can be said when its work comes
    if task.core is None and many:
        cannot = "it may run on any core, and this analysis is of one core at a time"
    period = task.period_ns or task.separation_ns or None
    deadline = task.deadline_ns if task.deadline_ns is not None or triggers else period
    final_ns, final_level = _final(body, taskset.kernel.preemptive, locks)
    fixed = task.period_ns is not None and not (
        program.gap or program.releases_ns is not None or program.given is not None
    )
    return Contender(
        name=task.name,
        core=task.core or 0,
        level=None if taskset.system.policy == "edf" else sign * (task.priority or 0),
        priority=task.priority,
        streams=streams,
        cost_ns=body.cost_ns,
        deadline_ns=deadline,
        jitter_ns=jitter if streams else 0,
        offset_ns=(task.offset_ns or program.offset_ns)
        if fixed and program.given is None
        else None,
        sections=body.sections,
        suspension_ns=body.suspension_ns,
        suspensions=body.suspensions,
        waits=sum(locks[name].protocol != "ceiling" for name in body.requests),
        masked_ns=0 if taskset.kernel.preemptive else max(body.chunks, default=0),
        final_ns=final_ns,
        final_level=final_level,
        triggers=triggers,
        after=after,
        migrates=task.core is None and many,
        cannot=cannot,
    )


def _final(body: _Body, preemptive: bool, locks: dict[str, LockRule]) -> tuple[int, float]:
    if not preemptive:
        return body.chunks[-1] if body.chunks else 0, EVERYBODY
    if body.final is not None:
        length, lock = body.final
        rule = locks[lock]
        if rule.protocol == "ceiling" and rule.ceiling is not None:
            return length, rule.ceiling
    return 0, EVERYBODY


def _streams(program: Program, period_ns: int | None) -> tuple[tuple[Stream, ...], str | None]:
    """Arrivals by time, and why they have no bound if they have none."""
    most, jitter = program.most_jobs, program.jitter_ns
    releases = program.releases_ns
    if program.given is not None:
        releases = tuple(job.release_ns for job in program.given if job.release_ns is not None)
        if not releases:
            return (), None
    if releases is not None:
        number = min(len(releases), most or len(releases))
        apart = min((b - a for a, b in pairwise(sorted(releases))), default=0)
        return (Stream(apart or None, jitter, most=number),), None
    if program.gap is not None:
        if program.gap.low_ns == 0 and most is None:
            return (), "its arrivals have no least separation"
        return (Stream(program.gap.low_ns or None, jitter, most=most),), None
    if period_ns is not None:
        return (Stream(period_ns, jitter, most=most),), None
    return (), None


def _worst(name: str, program: Program, taskset: TaskSet) -> _Body:
    """The program's body; of given jobs the most of everything that any of them does."""
    place = taskset.place
    if program.given is None:
        return _walk(name, program.body, place)
    made = [_walk(name, job.body, place) for job in program.given]
    if not made:
        return _EMPTY
    longest = max(made, key=lambda body: body.cost_ns)
    return replace(
        longest,
        suspension_ns=max(body.suspension_ns for body in made),
        suspensions=max(body.suspensions for body in made),
        sections=tuple({section for body in made for section in body.sections}),
        requests=max((body.requests for body in made), key=len),
        final=None,
        sent=(),
    )


def _walk(name: str, steps: Sequence[Step], place: str | None) -> _Body:
    cost = least = suspension = suspensions = chunk = 0
    open_at: dict[str, tuple[int, int, frozenset[str]]] = {}
    sections: list[Section] = []
    requests: list[str] = []
    again: list[str] = []  # locks taken by one who has them already
    chunks: list[int] = []
    sent: list[tuple[str, str, int]] = []
    receives = None
    final: tuple[int, str] | None = None
    for step in steps:
        what = step.what or ""
        if step.kind not in ("mark", "unlock"):
            final = None
        if step.kind == "run" and step.time is not None:
            cost += step.time.high_ns
            chunk += step.time.high_ns
            least += step.time.low_ns
        elif step.kind == "suspend" and step.time is not None:
            suspension += step.time.high_ns
            suspensions += 1
            least += step.time.low_ns
            chunks.append(chunk)
            chunk = 0
        elif step.kind == "lock":
            if what in open_at:
                again.append(what)
                continue
            open_at[what] = (cost, suspension, frozenset(open_at))
            requests.append(what)
        elif step.kind == "unlock" and what in again:
            again.remove(what)
        elif step.kind == "unlock" and what in open_at:
            began, slept, around = open_at.pop(what)
            sections.append(Section(what, cost - began, around, suspension > slept))
            if suspension == slept and not open_at:
                final = (cost - began, what)
        elif step.kind in ("send", "activate"):
            sent.append((step.kind, what, least))
        elif step.kind == "receive":
            receives = what
    if open_at:
        raise SystemFileError(
            f"tasks.{name}.body: {next(iter(open_at))} is never unlocked", place=place
        )
    chunks.append(chunk)
    return _Body(
        cost,
        suspension,
        suspensions,
        tuple(chunks),
        tuple(sections),
        tuple(requests),
        final,
        tuple(sent),
        receives,
    )


_EMPTY: Final = _Body(0, 0, 0, (0,), (), (), None, (), None)
