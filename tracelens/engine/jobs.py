"""Where jobs begin and end."""

from heapq import heappush
from typing import Final

from tracelens.engine.core_time import ARRIVES, make_ready, vacate
from tracelens.engine.locks import rekey
from tracelens.engine.machine import Machine
from tracelens.engine.releases import activate_script, arrive
from tracelens.engine.state import (
    BY_ACTIVATE,
    BY_DELAY,
    DORMANT,
    CoreState,
    Instance,
    TaskState,
)
from tracelens.model.events import CODE

E_ACTIVATE: Final = CODE["activate"]
E_START: Final = CODE["start"]
E_WAIT: Final = CODE["wait"]
E_RELEASE: Final = CODE["release"]
E_TERMINATE: Final = CODE["terminate"]
E_RECEIVE: Final = CODE["receive"]
E_STACK: Final = CODE["stack"]


def new_job(m: Machine, task: TaskState, release: int) -> Instance:
    """Make the next job of a task, released at `release`."""
    task.released += 1
    job = Instance(len(m.truth.jobs), task, task.released, release)
    m.truth.jobs.append(job)
    return job


def begin(m: Machine, task: TaskState, job: Instance) -> None:
    """Make a job the one that the task is at."""
    task.job = job
    ops = task.work.body(job.number - 1)
    task.ops = task.receive_first + ops if task.queue is not None else ops
    task.pc = task.left = 0
    if task.stack_size:
        job.stack_use = task.work.stack_use(job.number - 1, ops)
    if m.edf:
        task.base = job.deadline_key
        rekey(m, task.home, task)
    m.truth.moved_tasks.append(task)


def release_by_time(m: Machine, task: TaskState, core: int, cause: int) -> None:
    """A job is due: a waiting task is released, or a basic task activated."""
    if task.scripted:
        arrive(m, task, core, cause)
    elif task.activation == BY_ACTIVATE:
        activate(m, task, core)
        schedule_arrival(m, task)
    else:
        begin(m, task, new_job(m, task, m.now))
        m.emit((m.now, core, E_RELEASE, task.name, cause))
        make_ready(m, task)


def activate(m: Machine, task: TaskState, core: int) -> None:
    """Activate a basic task; an activation of one that has a job is counted."""
    if task.scripted:
        activate_script(m, task, core)
        return
    m.emit((m.now, core, E_ACTIVATE, task.name, -1))
    job = new_job(m, task, m.now)
    if task.job is None:
        begin(m, task, job)
        make_ready(m, task)
    else:
        task.pending.append(job)


def schedule_arrival(m: Machine, task: TaskState) -> None:
    """Put the task's next release by time into the heap, if there is one."""
    if not task.work.timed:
        return
    arrival = task.work.arrival(task.arrivals)
    if arrival is None:
        return
    task.arrivals += 1
    arrival = max(arrival, m.now)
    if m.tick:
        heappush(m.due, (arrival, task.index))
    else:
        heappush(m.heap, (arrival, ARRIVES, task.index, 0))


def end(m: Machine, core: CoreState, task: TaskState) -> None:
    """The job is complete. The task waits for the next one, or is at it already.

    A periodic task that is late for its next release does not wait: the log shows a `start` of
    the task that runs already, and the next job counts from its nominal release.
    """
    job = task.job
    assert job is not None
    now, c = m.now, core.index
    job.end = now
    m.truth.job_ended(job)
    if task.stack_size:
        _read_stack(m, c, task, job)
    task.job = None
    if task.activation == BY_ACTIVATE:
        m.emit((now, c, E_TERMINATE, task.name, -1))
        _leave(m, core, task)
        if task.pending:
            begin(m, task, task.pending.popleft())
            make_ready(m, task)
    elif task.activation == BY_DELAY:
        due = task.work.due(task.arrivals)
        if due is not None and now > due:
            m.emit((now, c, E_START, task.name, -1))
            task.arrivals += 1
            following = new_job(m, task, due)
            job.inferred = following.inferred = True
            _go_on(m, core, task, following)
        else:
            m.emit((now, c, E_WAIT, task.name, m.delay))
            _leave(m, core, task)
            schedule_arrival(m, task)
    elif task.pending:
        _go_on(m, core, task, task.pending.popleft())
    else:
        assert task.queue is not None
        m.emit((now, c, E_WAIT, task.name, task.queue.name))
        _leave(m, core, task)


def _leave(m: Machine, core: CoreState, task: TaskState) -> None:
    task.state = DORMANT
    task.word = -1
    vacate(m, core)


def _go_on(m: Machine, core: CoreState, task: TaskState, job: Instance) -> None:
    """Begin a job that was due already, without leaving the core."""
    begin(m, task, job)
    job.start = m.now
    core.boundary = m.now
    m.truth.moved_cores.add(core.index)


def _read_stack(m: Machine, core: int, task: TaskState, job: Instance) -> None:
    free = max(0, task.stack_size - job.stack_use)
    if free < task.stack_free:
        task.stack_free = free
        m.emit((m.now, core, E_STACK, task.name, -2 - free))
