"""Operations that only a recorded script has: releases at their own time, by others, and gaps.

A scripted task has one body from its first activation to the end of the record; what its jobs
are is for the reader of its events to say, as with any log.
"""

from heapq import heappush
from typing import Final

from tracelens.engine.core_time import ARRIVES, RESUMES, make_ready, vacate
from tracelens.engine.locks import rekey
from tracelens.engine.machine import Machine
from tracelens.engine.queues import take_out, wait_at
from tracelens.engine.releases import new_deadline, release_awaited, tell
from tracelens.engine.state import (
    AT_AWAIT,
    AT_END,
    AT_ITEM,
    AT_UNTIL,
    DORMANT,
    PAUSED,
    CoreState,
    TaskState,
)
from tracelens.engine.work import (
    AWAIT,
    BLANK,
    END,
    HOLD,
    MASK,
    NEXT,
    PRIORITY,
    RELEASE,
    TELL,
    UNTIL,
)
from tracelens.model.events import CODE

E_START: Final = CODE["start"]
E_WAIT: Final = CODE["wait"]
E_RELEASE: Final = CODE["release"]
E_TERMINATE: Final = CODE["terminate"]
E_ACTIVATE: Final = CODE["activate"]
E_SUSPEND: Final = CODE["suspend"]


def leaves_core(
    m: Machine, core: CoreState, task: TaskState, code: int, what: int, time: int
) -> bool:
    """Perform one of these operations. True if the dispatcher must come before the next one."""
    task.pc += 1
    if code == TELL:
        tell(m, core.index, what)
        return False
    if code == RELEASE:
        release_awaited(m, m.tasks[what], core.index, task.name)
        return False
    if code == PRIORITY:
        _new_base(m, core.index, m.tasks[what], time)
        return False
    if code == MASK:
        task.masked = bool(what)
        return False
    if code == UNTIL:
        _until(m, core, task, what)
    elif code == AWAIT:
        _await(m, core, task, what)
    elif code == NEXT:
        _next_item(m, core, task, what)
    elif code == END:
        _terminate(m, core, task)
    elif code == HOLD:
        m.emit((m.now, core.index, E_SUSPEND, task.name, -1))
        _leave(m, core, task, -1)
        task.back_by = E_RELEASE if what else E_ACTIVATE
        heappush(m.heap, (max(time, m.now), RESUMES, task.index, 0))
    elif code == BLANK:
        m.emit((m.now, core.index, E_SUSPEND, task.name, -1))
        _leave(m, core, task, -1)
    return True


def _until(m: Machine, core: CoreState, task: TaskState, what: int) -> None:
    until = m.untils[what]
    if m.now > until.due:
        m.emit((m.now, core.index, E_START, task.name, -1))
        new_deadline(m, task, until.due)
        core.boundary = m.now
        return
    m.emit((m.now, core.index, E_WAIT, task.name, until.word))
    _leave(m, core, task, until.word)
    task.awaits = AT_UNTIL
    if until.by_tick:
        heappush(m.due, (until.arrival, task.index))
    else:
        heappush(m.heap, (max(until.arrival, m.now), ARRIVES, task.index, 0))


def _await(m: Machine, core: CoreState, task: TaskState, word: int) -> None:
    m.emit((m.now, core.index, E_WAIT, task.name, word))
    if task.calls:
        # Its release came before: the wait ends at once, and the core stays with it.
        new_deadline(m, task, task.calls.popleft())
        m.emit((m.now, core.index, E_RELEASE, task.name, -1))
        m.emit((m.now, core.index, E_START, task.name, -1))
        core.boundary = m.now
        return
    _leave(m, core, task, word)
    task.awaits = AT_AWAIT


def _next_item(m: Machine, core: CoreState, task: TaskState, what: int) -> None:
    queue = m.queues[what]
    if queue.count:
        new_deadline(m, task, queue.sent[0] if queue.sent else m.now)
        take_out(m, core, task, queue)
        task.pc += 1  # the RECEIVE after it is done
        core.boundary = m.now
    else:
        wait_at(m, core, task, queue, queue.receivers)
        task.awaits = AT_ITEM


def _terminate(m: Machine, core: CoreState, task: TaskState) -> None:
    m.emit((m.now, core.index, E_TERMINATE, task.name, -1))
    task.state = DORMANT
    task.word = -1
    vacate(m, core)
    if task.calls:
        new_deadline(m, task, task.calls.popleft())
        make_ready(m, task)
    else:
        task.awaits = AT_END


def _leave(m: Machine, core: CoreState, task: TaskState, word: int) -> None:
    task.state = PAUSED
    task.word = word
    vacate(m, core)


def _new_base(m: Machine, core: int, task: TaskState, key: int) -> None:
    task.base = key
    rekey(m, core, task)
