"""From a task set to the machine's state at time 0."""

from typing import Final

from tracelens.engine.draws import TicksOf
from tracelens.engine.machine import Machine
from tracelens.engine.state import (
    BY_ACTIVATE,
    BY_DELAY,
    BY_QUEUE,
    CEILING,
    INHERIT,
    NEVER,
    ORIGINAL,
    PLAIN,
    CoreState,
    HandlerState,
    LockState,
    QueueState,
    TaskState,
)
from tracelens.engine.work import RECEIVE, RELEASE_DUE, RUN, Work
from tracelens.model.system import Task
from tracelens.model.taskset import Program, TaskSet

TICK: Final = "tick"
"""Name of the handler that releases by time where the kernel has a tick."""


def build(taskset: TaskSet, seed: int) -> Machine:
    """The machine of a task set that `check` found no mistake in."""
    system, kernel = taskset.system, taskset.kernel
    m = Machine(TicksOf(next(clock.hz for clock in system.clocks if clock.core is None)))
    m.edf = system.policy == "edf"
    m.sign = -1 if system.order == "higher_first" else 1
    m.preemptive = kernel.preemptive
    m.slice = m.ticks(kernel.slice_ns) if kernel.slice_ns and system.policy == "round_robin" else 0
    m.switch = m.ticks(kernel.switch_ns)
    m.tick = m.ticks(kernel.tick_ns) if kernel.tick_ns else 0
    m.wake = m.ticks(kernel.wake_ns)
    m.sleeps = kernel.sleep
    m.clock_stops = kernel.clock_stops
    tasks = [task for task in system.tasks if not task.idle]
    for index, task in enumerate(tasks):
        m.things.tasks[task.name] = index
    for index, lock in enumerate(system.locks):
        m.things.locks[lock.name] = index
        protocol = ORIGINAL if lock.name in taskset.original_ceiling else _PROTOCOLS[lock.protocol]
        if protocol == CEILING and lock.ceiling is not None:
            ceiling = m.sign * lock.ceiling
        else:
            ceiling = _highest_user(m, taskset, lock.name)
        m.locks.append(LockState(index, m.things.name(lock.name), protocol, ceiling))
    for index, queue in enumerate(system.queues):
        m.things.queues[queue.name] = index
        drops = queue.name in taskset.drops
        m.queues.append(QueueState(m.things.name(queue.name), queue.depth, drops))
    _cores(m, taskset)
    for task in tasks:
        m.tasks.append(_task(m, taskset, task, seed))
    _handlers(m, taskset, seed)
    return m


_PROTOCOLS: Final = {None: PLAIN, "none": PLAIN, "inherit": INHERIT, "ceiling": CEILING}


def _highest_user(m: Machine, taskset: TaskSet, lock: str) -> int:
    keys = [
        m.sign * (task.priority or 0)
        for task in taskset.system.tasks
        if task.name in taskset.programs and lock in locks_used(taskset.programs[task.name])
    ]
    return min(keys, default=NEVER)


def locks_used(program: Program) -> set[str]:
    """Names of the locks that a program ever takes."""
    bodies = [program.body, *(job.body for job in program.given or ())]
    return {step.what for body in bodies for step in body if step.kind == "lock" and step.what}


def _cores(m: Machine, taskset: TaskSet) -> None:
    system = taskset.system
    count = 1 + max([core.id for core in system.cores] + [task.core or 0 for task in system.tasks])
    idle = {task.core or 0: task.name for task in system.tasks if task.idle}
    for index in range(count):
        m.cores.append(CoreState(index, m.things.name(idle[index]) if index in idle else -1))


def _task(m: Machine, taskset: TaskSet, task: Task, seed: int) -> TaskState:
    program = taskset.programs.get(task.name, Program())
    period_ns = task.period_ns
    work = Work(
        (seed, task.name),
        program,
        m.things,
        m.ticks,
        period_ns=period_ns,
        offset_ns=task.offset_ns or program.offset_ns,
    )
    base = NEVER if m.edf else m.sign * (task.priority or 0)
    state = TaskState(len(m.tasks), m.things.name(task.name), work, base)
    state.deadline = None if task.deadline_ns is None else m.ticks(task.deadline_ns)
    if task.activation in m.things.queues:
        state.activation = BY_QUEUE
        index = m.things.queues[task.activation]
        state.queue = m.queues[index]
        state.queue.consumer = state
        state.receive_first = ((RECEIVE, index, 0),)
    else:
        state.activation = BY_DELAY if task.activation == "delay" else BY_ACTIVATE
    state.announces = state.activation != BY_ACTIVATE
    state.core = -1 if task.core is None and len(m.cores) > 1 else (task.core or 0)
    state.home = max(state.core, 0)
    if task.stack_bytes and program.stack_use is not None:
        state.stack_size = task.stack_bytes
        state.stack_free = task.stack_bytes + 1
    return state


def _handlers(m: Machine, taskset: TaskSet, seed: int) -> None:
    for isr in taskset.system.isrs:
        program = taskset.programs.get(isr.name, Program())
        work = Work(
            (seed, isr.name),
            program,
            m.things,
            m.ticks,
            period_ns=program.period_ns,
            offset_ns=program.offset_ns,
        )
        key = m.sign * (isr.priority or 0)
        name = m.things.name(isr.name)
        handler = HandlerState(len(m.handlers), name, work, key, program.core or 0)
        handler.tells = program.pend
        m.handlers.append(handler)
        if m.tick and isr.name == TICK:
            m.tick_handler = handler
            work.replace_body(
                ((RUN, -1, max(1, m.ticks(taskset.kernel.tick_cost_ns))), (RELEASE_DUE, -1, 0))
            )
