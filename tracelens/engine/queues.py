"""Queues: items in, items out, and who waits for either."""

from typing import Final

from tracelens.engine.core_time import make_ready, vacate
from tracelens.engine.jobs import begin, new_job
from tracelens.engine.machine import Machine
from tracelens.engine.releases import new_deadline
from tracelens.engine.state import (
    AT_ITEM,
    NOT_AWAITING,
    PAUSED,
    CoreState,
    QueueState,
    TaskState,
)
from tracelens.model.events import CODE

E_SEND: Final = CODE["send"]
E_RECEIVE: Final = CODE["receive"]
E_RELEASE: Final = CODE["release"]
E_WAIT: Final = CODE["wait"]
E_MARK: Final = CODE["mark"]


def send(m: Machine, core: CoreState, sender: int, queue: QueueState) -> bool:
    """Put an item in; False if there is no room. `sender` is a name."""
    if queue.count >= queue.depth:
        return False
    queue.count += 1
    now, c = m.now, core.index
    m.emit((now, c, E_SEND, sender, queue.name))
    consumer = queue.consumer
    if consumer is not None:
        job = new_job(m, consumer, now)
        if consumer.job is None:
            begin(m, consumer, job)
            m.emit((now, c, E_RELEASE, consumer.name, sender))
            make_ready(m, consumer)
        else:
            consumer.pending.append(job)
        return True
    if m.edf:
        queue.sent.append(now)
    if queue.receivers:
        _release(m, c, queue.receivers, sender)
    return True


def drop(m: Machine, core: CoreState, queue: QueueState) -> None:
    """Lose an item because the queue is full, and leave a mark."""
    queue.dropped += 1
    m.emit((m.now, core.index, E_MARK, m.things.name(f"{m.things.names[queue.name]}_full"), -1))


def take_out(m: Machine, core: CoreState, task: TaskState, queue: QueueState) -> None:
    """Take the first item out of a queue that is not empty."""
    queue.count -= 1
    if queue.sent:
        queue.sent.popleft()
    m.emit((m.now, core.index, E_RECEIVE, task.name, queue.name))
    if queue.senders:
        _release(m, core.index, queue.senders, task.name)


def wait_at(
    m: Machine, core: CoreState, task: TaskState, queue: QueueState, line: list[TaskState]
) -> None:
    """Wait until the queue has an item, or room."""
    m.emit((m.now, core.index, E_WAIT, task.name, queue.name))
    task.state = PAUSED
    task.word = queue.name
    vacate(m, core)
    line.append(task)


def _release(m: Machine, core: int, line: list[TaskState], cause: int) -> None:
    """Release the most urgent task in a line, of equals the first; it will try again."""
    task = min(line, key=lambda one: one.eff)
    line.remove(task)
    m.emit((m.now, core, E_RELEASE, task.name, cause))
    if task.awaits == AT_ITEM:
        task.awaits = NOT_AWAITING
        new_deadline(m, task, m.now)
    make_ready(m, task)
