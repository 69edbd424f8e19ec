"""Locks under four protocols, with transitive inheritance.

Sources: Sha, Rajkumar & Lehoczky, "Priority Inheritance Protocols: An Approach to Real-Time
Synchronization", IEEE Trans. Computers 39(9), 1990 (inheritance, original ceiling); IEEE 1003.1,
pthread_mutexattr_setprotocol (the immediate ceiling is its PTHREAD_PRIO_PROTECT).

A lock is free between its `unlock` and the next `lock`: a waiter that was released asks again
when it runs, and may find that another was faster.
"""

from typing import Final

from tracelens.engine.core_time import BLOCKED as LOCKED
from tracelens.engine.core_time import make_ready, vacate
from tracelens.engine.machine import Machine
from tracelens.engine.state import (
    BLOCKED,
    CEILING,
    NEVER,
    ORIGINAL,
    PLAIN,
    RUNNING,
    CoreState,
    LockState,
    TaskState,
)
from tracelens.model.events import CODE

E_REQUEST: Final = CODE["request"]
E_LOCK: Final = CODE["lock"]
E_UNLOCK: Final = CODE["unlock"]
E_WAIT: Final = CODE["wait"]
E_RELEASE: Final = CODE["release"]
E_PRIORITY: Final = CODE["priority"]


def ask(m: Machine, core: CoreState, task: TaskState, lock: LockState) -> bool:
    """Take the lock if that is allowed, else wait for it. True if the task holds it now."""
    now, c = m.now, core.index
    if not task.retrying:
        m.emit((now, c, E_REQUEST, task.name, lock.name))
    if lock.owner is task:
        lock.depth += 1
        m.emit((now, c, E_LOCK, task.name, lock.name))
        return True
    in_the_way = lock if lock.owner is not None else None
    if in_the_way is None and lock.protocol == ORIGINAL:
        in_the_way = _ceiling_in_the_way(m, task)
    if in_the_way is None:
        task.retrying = False
        task.wants = None
        lock.owner = task
        lock.depth = 1
        task.held.append(lock)
        m.emit((now, c, E_LOCK, task.name, lock.name))
        if lock.protocol != PLAIN:
            rekey(m, c, task)
        return True
    if task.retrying:
        m.emit((now, c, E_REQUEST, task.name, lock.name))
    m.emit((now, c, E_WAIT, task.name, in_the_way.name))
    task.retrying = True
    task.state = BLOCKED
    task.waits = in_the_way
    task.wants = lock
    m.waits += 1
    task.word = m.waits
    vacate(m, core, LOCKED)
    in_the_way.waiters.append(task)
    _look_for_cycle(m, task)
    if in_the_way.owner is not None and in_the_way.protocol != PLAIN:
        rekey(m, c, in_the_way.owner)
    return False


def give_back(m: Machine, core: CoreState, task: TaskState, lock: LockState) -> None:
    """Unlock: the owner's key falls back, then whom the lock kept waiting becomes ready."""
    m.emit((m.now, core.index, E_UNLOCK, task.name, lock.name))
    lock.depth -= 1
    if lock.depth > 0:
        return
    task.held.remove(lock)
    lock.owner = None
    lock.last_owner = task
    waiters = lock.waiters
    if waiters:
        # Whom the original ceiling refused asked for another lock: each may be able to go on.
        woken = sorted(waiters, key=lambda waiter: (waiter.eff, waiter.word))
        woken = woken if lock.protocol == ORIGINAL else woken[:1]
        for waiter in woken:
            waiters.remove(waiter)
            waiter.waits = None
    else:
        woken = []
    if lock.protocol != PLAIN:
        rekey(m, core.index, task)
    for waiter in woken:
        m.emit((m.now, core.index, E_RELEASE, waiter.name, task.name))
        make_ready(m, waiter)


def rekey(m: Machine, core: int, task: TaskState) -> None:
    """Recompute how urgent a task is, and whoever it waits behind.

    A change by inheritance is announced by an event `priority`; the immediate ceiling raises by
    its declaration alone, and deadlines have no number to announce.
    """
    base = task.base
    inherited, ceiling = base, NEVER
    for lock in task.held:
        if lock.protocol == CEILING:
            ceiling = min(ceiling, lock.ceiling)
        elif lock.protocol != PLAIN:
            for waiter in lock.waiters:
                if waiter.eff < inherited:
                    inherited = waiter.eff
    if m.keeps_raise and task.held and not m.edf:
        inherited = min(inherited, task.inherited)
    eff = min(inherited, ceiling)
    announced = inherited != task.inherited
    changed = eff != task.eff
    task.inherited, task.eff = inherited, eff
    if announced and not m.edf:
        m.emit((m.now, core, E_PRIORITY, task.name, -2 - m.priority_of(eff)))
    if task.state == RUNNING:
        m.truth.moved_cores.add(task.last_core)
    if changed and task.waits is not None:
        owner = task.waits.owner
        if owner is not None and task.waits.protocol not in (PLAIN, CEILING):
            rekey(m, core, owner)


def _ceiling_in_the_way(m: Machine, task: TaskState) -> LockState | None:
    """The held lock of highest ceiling that refuses the task; None if none does."""
    worst: LockState | None = None
    for lock in m.locks:
        by_another = lock.owner is not None and lock.owner is not task
        if lock.protocol == ORIGINAL and by_another:
            worst = lock if worst is None or lock.ceiling < worst.ceiling else worst
    return worst if worst is not None and worst.ceiling <= task.eff else None


def _look_for_cycle(m: Machine, task: TaskState) -> None:
    tasks, locks = [task.name], []
    lock = task.waits
    while lock is not None and lock.owner is not None:
        locks.append(lock.name)
        if lock.owner is task:
            m.truth.deadlocks.append((m.now, tasks, locks))
            return
        if lock.owner.name in tasks:
            return
        tasks.append(lock.owner.name)
        lock = lock.owner.waits
