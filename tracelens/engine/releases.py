"""What reaches a recorded script from outside: releases, activations, and its events told again."""

from heapq import heappush
from typing import Final

from tracelens.engine.core_time import ARRIVES, make_ready
from tracelens.engine.locks import rekey
from tracelens.engine.machine import Machine
from tracelens.engine.state import AT_AWAIT, AT_END, AT_UNTIL, NOT_AWAITING, TaskState
from tracelens.model.events import CODE

E_ACTIVATE: Final = CODE["activate"]
E_RELEASE: Final = CODE["release"]


def tell(m: Machine, core: int, what: int) -> None:
    """Write an event of the application's own again."""
    event, subject, value = m.told[what]
    m.emit((m.now, core, event, subject, value))


def release_awaited(m: Machine, task: TaskState, core: int, cause: int) -> None:
    """Release a task that awaits it; one that does not yet is released when it comes to wait."""
    if task.awaits != AT_AWAIT:
        task.calls.append(m.now)
        return
    task.awaits = NOT_AWAITING
    m.emit((m.now, core, E_RELEASE, task.name, cause))
    new_deadline(m, task, m.now)
    make_ready(m, task)


def arrive(m: Machine, task: TaskState, core: int, cause: int) -> None:
    """What a script waits for by time has come: its release, or else an activation."""
    if task.awaits == AT_UNTIL:
        task.awaits = NOT_AWAITING
        m.emit((m.now, core, E_RELEASE, task.name, cause))
        new_deadline(m, task, m.now)
        make_ready(m, task)
        return
    activate_script(m, task, core)
    following = task.work.arrival(task.arrivals)
    if following is not None:
        task.arrivals += 1
        heappush(m.heap, (max(following, m.now), ARRIVES, task.index, 0))


def activate_script(m: Machine, task: TaskState, core: int) -> None:
    """Activate a task; an activation of one that is at work is counted."""
    if task.silent:  # under way when the record began
        task.silent = False
    else:
        m.emit((m.now, core, E_ACTIVATE, task.name, -1))
    if task.awaits == AT_END:
        task.awaits = NOT_AWAITING
        new_deadline(m, task, m.now)
        make_ready(m, task)
    else:
        task.calls.append(m.now)


def new_deadline(m: Machine, task: TaskState, release: int) -> None:
    """Under earliest deadline first a release sets how urgent the task is."""
    if m.edf and task.deadline is not None:
        task.base = release + task.deadline
        rekey(m, task.home, task)
