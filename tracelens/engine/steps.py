"""A task's operations, performed one after another until time passes or it leaves its core."""

from heapq import heappush
from typing import Final

from tracelens.engine.core_time import RESUMES, resume, vacate
from tracelens.engine.jobs import activate, end
from tracelens.engine.locks import ask, give_back
from tracelens.engine.machine import Machine
from tracelens.engine.queues import drop, send, take_out, wait_at
from tracelens.engine.scripted import leaves_core
from tracelens.engine.state import PAUSED, CoreState, TaskState
from tracelens.engine.work import (
    ACTIVATE,
    LOCK,
    MARK,
    POLL,
    RECEIVE,
    RUN,
    SEND,
    SUSPEND,
    TAKE,
    UNLOCK,
)
from tracelens.model.events import CODE

E_MARK: Final = CODE["mark"]
E_WAIT: Final = CODE["wait"]


def perform(m: Machine, core: CoreState, task: TaskState, *, dispatched: bool) -> None:
    """Perform the task's next operations.

    Operations that take (a lock, an item, time) wait for the dispatcher: before the first of
    them this returns, unless `dispatched` says that nobody more urgent is ready. Having given
    something, it returns as well, for that may have made somebody ready.
    """
    while task.pc < len(task.ops):
        code, what, time = task.ops[task.pc]
        if code < 0:
            if leaves_core(m, core, task, code, what, time):
                return
            dispatched = False
            continue
        if code >= TAKE:
            if not dispatched:
                return
            if code == RUN:
                task.pc += 1
                task.left = time
                resume(m, core)
                return
            if code == LOCK:
                if not ask(m, core, task, m.locks[what]):
                    return
            elif code == RECEIVE:
                queue = m.queues[what]
                if queue.count == 0:
                    wait_at(m, core, task, queue, queue.receivers)
                    return
                take_out(m, core, task, queue)
                dispatched = not queue.senders and dispatched
            elif code == POLL and m.queues[what].count:
                take_out(m, core, task, m.queues[what])
            task.pc += 1
            continue
        if code == UNLOCK:
            owner = m.locks[what].owner
            if owner is not None:  # a record may tell of an unlock by another
                give_back(m, core, owner, m.locks[what])
        elif code == SEND:
            queue = m.queues[what]
            if not send(m, core, task.name, queue):
                if not queue.drops:
                    wait_at(m, core, task, queue, queue.senders)
                    return
                drop(m, core, queue)
        elif code == ACTIVATE:
            activate(m, m.tasks[what], core.index)
        elif code == MARK:
            m.emit((m.now, core.index, E_MARK, what, time))
        elif code == SUSPEND:
            task.pc += 1
            m.emit((m.now, core.index, E_WAIT, task.name, what))
            task.state = PAUSED
            task.word = what
            vacate(m, core)
            heappush(m.heap, (m.now + time, RESUMES, task.index, 0))
            return
        task.pc += 1
        dispatched = False
    _complete(m, core, task)


def _complete(m: Machine, core: CoreState, task: TaskState) -> None:
    end(m, core, task)
    if core.cur is task and task.queue is not None:
        # Its next item is there already: taking it is what ends the job in the log.
        take_out(m, core, task, task.queue)
        task.pc = 1
