"""Faults in task sets: what is made worse, from when on, and who is to be named for it.

A fault lasts for the whole run or begins somewhere in its second quarter or third; then the
programs are written out job by job, drawn here, so that later jobs can differ from earlier ones.
"""

import random
from collections.abc import Callable
from dataclasses import dataclass, replace

from tracelens.model.taskset import Duration, Job, Program, Step, TaskSet

MS = 1_000_000


@dataclass(frozen=True)
class Fault:
    """`names`: each group is an answer; all names of a group must be told."""

    kind: str
    names: tuple[tuple[str, ...], ...]
    what: str
    taskset: TaskSet
    leak: tuple[str, int] | None = None  # task and bytes a job, written into the log's lines


def put(taskset: TaskSet, kind: str, rng: random.Random) -> Fault:
    return KINDS[kind](taskset, rng)


def _begin(taskset: TaskSet, rng: random.Random) -> int:
    """When the fault begins: at once in half of all runs."""
    if rng.random() < 0.5:
        return 0
    return round((taskset.until_ns or 0) * rng.uniform(0.3, 0.6))


def _change(
    taskset: TaskSet,
    name: str,
    begin_ns: int,
    rng: random.Random,
    steps: Callable[[Step], Step] | None = None,
    body: Callable[[tuple[Step, ...]], tuple[Step, ...]] | None = None,
    gap: float = 1.0,
) -> TaskSet:
    """The set with another program: steps changed, the body changed, gaps times `gap`."""
    program = taskset.programs[name]
    change = body or (lambda old: tuple(map(steps, old)) if steps else old)
    if begin_ns == 0:
        new = replace(program, body=change(program.body))
        if program.gap is not None:
            new = replace(new, gap=_times(program.gap, gap))
    else:
        new = _written_out(taskset, name, program, begin_ns, rng, change, gap)
    return replace(taskset, programs={**taskset.programs, name: new})


def _written_out(taskset, name, program, begin_ns, rng, change, gap) -> Program:
    task = next((task for task in taskset.system.tasks if task.name == name), None)
    period_ns = task.period_ns if task else program.period_ns
    until_ns = taskset.until_ns or 0
    jobs: list[Job] = []
    queued = period_ns is None and program.gap is None
    at_ns = ((task.offset_ns if task else program.offset_ns) or 0) if not queued else 0
    expected_ns = 20 * MS  # between two items of the row queue
    while at_ns < until_ns:
        faulty = at_ns >= begin_ns
        old = change(program.body) if faulty else program.body
        jobs.append(Job(None if queued else at_ns, tuple(_drawn(step, rng) for step in old)))
        if period_ns is not None:
            at_ns += period_ns
        elif program.gap is not None:
            at_ns += round(_draw(program.gap, rng) * (gap if faulty else 1.0))
        else:
            at_ns += expected_ns
    if queued:
        jobs += [Job(None, tuple(_drawn(s, rng) for s in change(program.body))) for _ in jobs]
    return replace(program, given=tuple(jobs), gap=None)


def _drawn(step: Step, rng: random.Random) -> Step:
    if step.time is None:
        return step
    ns = _draw(step.time, rng)
    return replace(step, time=Duration(ns, ns))


def _draw(time: Duration, rng: random.Random) -> int:
    if time.tail is None:
        return rng.randint(time.low_ns, time.high_ns)
    share = 1 - (time.low_ns / time.high_ns) ** time.tail
    return round(time.low_ns * (1 - rng.random() * share) ** (-1 / time.tail))


def _times(time: Duration, factor: float) -> Duration:
    return Duration(round(time.low_ns * factor), round(time.high_ns * factor), time.tail)


def _mean_us(program: Program) -> float:
    return sum(s.time.low_ns + s.time.high_ns for s in program.body if s.time) / 2000


def longer_section(taskset: TaskSet, rng: random.Random) -> Fault:
    """One user's critical section grows to between one and two of the most urgent deadline."""
    holder = rng.choice(["pattern_fetch", "archive"])
    at_us = rng.uniform(2000, 4000)

    def body(old: tuple[Step, ...]) -> tuple[Step, ...]:
        new = list(old)
        inside = [step.kind for step in old].index("lock") + 1
        time = Duration(round(at_us * 900), round(at_us * 1100))
        new[inside] = replace(old[inside], time=time)
        return tuple(new)

    begin = _begin(taskset, rng)
    changed = _change(taskset, holder, begin, rng, body=body)
    names = ((holder,), ("flash_bus", holder))
    return Fault("longer section", names, f"{holder} {at_us:.0f} µs from {begin}", changed)


def storm(taskset: TaskSet, rng: random.Random) -> Fault:
    """A handler comes so often that it takes a quarter to a half of the core."""
    isr = rng.choice(["carriage_encoder", "link_rx"])
    program = taskset.programs[isr]
    run = next(step.time for step in program.body if step.time)
    load = rng.uniform(0.25, 0.5)
    gap_ns = (run.low_ns + run.high_ns) / 2 / load
    factor = gap_ns / ((program.gap.low_ns + program.gap.high_ns) / 2)
    begin = _begin(taskset, rng)

    def without_send(old: tuple[Step, ...]) -> tuple[Step, ...]:
        return tuple(step for step in old if step.kind != "send")

    changed = _change(taskset, isr, begin, rng, body=without_send, gap=factor)
    return Fault("interrupt storm", ((isr,),), f"{isr} load {load:.2f} from {begin}", changed)


def slower(taskset: TaskSet, rng: random.Random) -> Fault:
    """A task executes so much longer that it takes 25 to 50 % of a core more."""
    name = rng.choice(["yarn_tension", "needle_select", "panel", "pattern_fetch", "row_worker"])
    task = next(task for task in taskset.system.tasks if task.name == name)
    period_us = (task.period_ns or 20 * MS) / 1000
    extra = rng.uniform(0.25, 0.5)
    factor = 1 + extra * period_us / _mean_us(taskset.programs[name])

    def steps(step: Step) -> Step:
        return replace(step, time=_times(step.time, factor)) if step.kind == "run" else step

    begin = _begin(taskset, rng)
    changed = _change(taskset, name, begin, rng, steps=steps)
    return Fault("slower task", ((name,),), f"{name} times {factor:.1f} from {begin}", changed)


def lower_priority(taskset: TaskSet, rng: random.Random) -> Fault:
    """A task gets the lowest priority of all."""
    name = rng.choice(["needle_select", "yarn_tension", "pattern_fetch", "link"])
    tasks = tuple(
        replace(task, priority=1) if task.name == name else task for task in taskset.system.tasks
    )
    changed = replace(taskset, system=replace(taskset.system, tasks=tasks))
    return Fault("lower priority", ((name,),), name, changed)


def leak(taskset: TaskSet, rng: random.Random) -> Fault:
    """A stack is used up by 40 to 90 % of what is free, job by job (in the log's lines)."""
    name = rng.choice(["needle_select", "yarn_tension", "pattern_fetch", "row_worker", "panel"])
    task = next(task for task in taskset.system.tasks if task.name == name)
    jobs = (taskset.until_ns or 0) // (task.period_ns or 20 * MS)
    free = task.stack_bytes - taskset.programs[name].stack_use.high_ns
    bytes_a_job = max(1, round(free * rng.uniform(0.4, 0.9) / jobs))
    return Fault(
        "stack leak", ((name,),), f"{name} {bytes_a_job} a job", taskset, (name, bytes_a_job)
    )


def stalled(taskset: TaskSet, rng: random.Random) -> Fault:
    """The consumer of the row queue waits for something in each job, longer than items come."""
    wait_us = rng.uniform(22_000, 60_000)

    def body(old: tuple[Step, ...]) -> tuple[Step, ...]:
        time = Duration(round(wait_us * 900), round(wait_us * 1100))
        return (Step("suspend", "needle_store", time), *old)

    begin = _begin(taskset, rng)
    changed = _change(taskset, "row_worker", begin, rng, body=body)
    names = (("row_worker",), ("row_queue",))
    return Fault("stalled consumer", names, f"{wait_us:.0f} µs from {begin}", changed)


KINDS: dict[str, Callable[[TaskSet, random.Random], Fault]] = {
    "longer section": longer_section,
    "interrupt storm": storm,
    "slower task": slower,
    "lower priority": lower_priority,
    "stack leak": leak,
    "stalled consumer": stalled,
}
