"""Who has a core, and from when: pausing and resuming its occupant, starting and taking off tasks.

A core works at one thing at a time: its innermost handler, else a switch, else its task. `pause`
settles how much of that is left, `resume` schedules its end. Every change goes pause, change,
resume.
"""

from heapq import heappush
from typing import Final

from tracelens.engine.machine import Machine
from tracelens.engine.state import READY, RUNNING, CoreState, TaskState
from tracelens.model.events import CODE

# Kinds of entries in the heap. At one instant they come in this order: completions, then
# releases, then what the dispatcher does.
ENDS: Final = 0  # a core's step, or its handler's
REQUESTS: Final = 1  # a handler
ARRIVES: Final = 2  # a job, by time
RESUMES: Final = 3  # a task from its self-suspension
WOKEN: Final = 4  # a core
SWITCHED: Final = 5  # a core
SLICE: Final = 6  # a core's task has used its slice
TURNS: Final = 7  # all slices end: equals take turns

# How a core was left: what the switch that follows costs depends on it.
LEFT: Final = 0  # its task waits, or has ended, or there was none
TAKEN: Final = 1  # somebody more urgent takes it
BLOCKED: Final = 2  # its task waits for a lock

E_START: Final = CODE["start"]
E_PREEMPT: Final = CODE["preempt"]


def pause(m: Machine, core: CoreState) -> None:
    """Settle what the core's occupant has done so far."""
    passed = m.now - core.since
    core.since = m.now
    core.version += 1
    if core.nest:
        core.nest[-1].left -= passed
    elif core.switching:
        core.switch_left -= passed
    elif core.started and core.cur is not None:
        core.cur.left -= passed
        core.cur.slice_left -= passed


def resume(m: Machine, core: CoreState) -> None:
    """Schedule the end of what the core's occupant is at."""
    now = m.now
    core.since = now
    core.version += 1
    if core.nest:
        heappush(m.heap, (now + core.nest[-1].left, ENDS, core.index, core.version))
    elif core.switching:
        heappush(m.heap, (now + core.switch_left, SWITCHED, core.index, core.version))
    elif core.started:
        task = core.cur
        if task is not None and task.left > 0:
            heappush(m.heap, (now + task.left, ENDS, core.index, core.version))
            if m.slice:
                heappush(m.heap, (now + task.slice_left, SLICE, core.index, core.version))


def make_ready(m: Machine, task: TaskState, *, at_head: bool = False) -> None:
    """Put a task among the ready ones, behind those as urgent as it, or before them."""
    task.state = READY
    task.word = -1
    if at_head:
        m.head -= 1
        task.seq = m.head
    else:
        m.tail += 1
        task.seq = m.tail
    m.ready.append(task)
    m.truth.moved_tasks.append(task)


def start(m: Machine, core: CoreState) -> None:
    """Ready → running: the core's task gets it."""
    task = core.cur
    if task is None:
        return
    m.emit((m.now, core.index, E_START, task.name, -1))
    task.state = RUNNING
    task.last_core = core.index
    core.started = True
    core.idle_on = False
    if task.job is not None and task.job.start < 0:
        task.job.start = m.now
    if task.slice_left <= 0:
        task.slice_left = m.slice
    m.truth.first_start.setdefault(task.index, core.index)
    m.truth.moved_tasks.append(task)
    m.truth.moved_cores.add(core.index)
    resume(m, core)


def place(m: Machine, core: CoreState, task: TaskState) -> None:
    """Give the core to a ready task, after a switch if switching costs time."""
    m.ready.remove(task)
    taken = core.cur is not None or (core.idle_on and core.idle_name >= 0)
    if core.cur is not None:
        take_off(m, core, at_head=m.keeps_turn)
    core.cur = task
    m.truth.moved_cores.add(core.index)
    if not m.switch:
        start(m, core)
    elif not core.switching:
        if core.idle_on and core.idle_name >= 0:
            m.emit((m.now, core.index, E_PREEMPT, core.idle_name, -1))
        core.idle_on = False
        _begin_switch(m, core, task.name, TAKEN if taken else core.left)


def take_off(m: Machine, core: CoreState, *, at_head: bool) -> None:
    """Running → ready: the core's task loses it."""
    task = core.cur
    if task is None:
        return
    if core.started:
        pause(m, core)
        if m.switch:
            m.emit((m.now, core.index, E_PREEMPT, task.name, -1))
        make_ready(m, task, at_head=at_head)
    else:
        m.ready.append(task)
    core.cur = None
    core.started = False
    core.left = TAKEN
    m.truth.moved_cores.add(core.index)


def vacate(m: Machine, core: CoreState, how: int = LEFT) -> None:
    """The core's task leaves it of its own accord: it waits, or has ended."""
    pause(m, core)
    core.left = how
    if core.cur is not None:
        core.cur.slice_left = 0
        m.truth.moved_tasks.append(core.cur)
    core.cur = None
    core.started = False
    m.truth.moved_cores.add(core.index)


def go_idle(m: Machine, core: CoreState) -> None:
    """Nobody is ready for the core."""
    m.truth.moved_cores.add(core.index)
    if core.idle_name < 0:
        core.idle_on = True
    elif m.switch:
        _begin_switch(m, core, core.idle_name, core.left)
    else:
        start_idle(m, core)


def start_idle(m: Machine, core: CoreState) -> None:
    """The core's idle task runs."""
    m.emit((m.now, core.index, E_START, core.idle_name, -1))
    core.idle_on = True
    m.truth.moved_cores.add(core.index)


def _begin_switch(m: Machine, core: CoreState, name: int, how: int) -> None:
    core.switching = True
    core.switch_left = m.switch if m.costs is None else m.costs.draw(name, how)
    resume(m, core)


def end_slice(m: Machine, core: CoreState) -> None:
    """The running task has used its slice: the next one as urgent as it gets the core."""
    task = core.cur
    if task is None or not core.started or core.nest:
        return
    pause(m, core)
    for other in m.ready:
        if other.eff == task.eff and other.core in (-1, core.index):
            take_off(m, core, at_head=False)
            return
    task.slice_left = m.slice
    resume(m, core)
