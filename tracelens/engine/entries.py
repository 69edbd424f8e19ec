"""Which ledger entry a moment has: rules over one segment of a core, one chain of holders.

The entries and their order are the event log's definitions of a ledger.
"""

from typing import Final

from tracelens.engine.state import BLOCKED, READY, RUNNING, TaskState

# Kinds of a core's segments: the positions in `model.tables.OCCUPANTS`.
ISR: Final = 0
ASLEEP: Final = 1
TASK: Final = 2
SWITCHING: Final = 3
IDLE: Final = 4

# Ledger entries: the positions in `model.tables.ENTRIES`.
L_BACKLOG: Final = 1
L_SUSPENDED: Final = 2
L_ISR: Final = 3
L_ASLEEP: Final = 4
L_EXECUTION: Final = 5
L_BLOCKED: Final = 6
L_INTERFERENCE: Final = 7
L_INVERSION: Final = 8
L_DEFERRED: Final = 9
L_SWITCHING: Final = 11

# What the end of a chain of holders does.
M_RUNS: Final = 0
M_READY: Final = 1
M_SLEEPS: Final = 2
M_HANDS_OVER: Final = 3
M_DEADLOCK: Final = 4

Raise = tuple[int, int]
"""(name of a lock, the key to which it raises its owner)"""

Segment = tuple[int, int, TaskState | None, int, tuple[Raise, ...]]
"""(kind, name of who, task under it, that task's base key, what raises it, latest lock first)"""


def raising(task: TaskState) -> tuple[Raise, ...]:
    """The locks that raise a task above its base, the one most recently taken first."""
    found = []
    for lock in reversed(task.held):
        key = lock.raises_to()
        if key < task.base:
            found.append((lock.name, key))
    return tuple(found)


def push(raises: tuple[Raise, ...], mine: int) -> int:
    """The latest of the locks that raise a task to the key `mine` or beyond; −1 if none does."""
    for lock, key in raises:
        if key <= mine:
            return lock
    return -1


def looks_at(segment: Segment, mine: int) -> tuple[int, int, int]:
    """Ledger entry of a task with base key `mine` that is kept from the core in this segment."""
    kind, who, _, base, raises = segment
    if kind == ISR:
        return L_ISR, who, -1
    if kind == ASLEEP:
        return L_ASLEEP, -1, -1
    if kind != TASK:
        return L_SWITCHING, -1, -1
    if base <= mine:
        return L_INTERFERENCE, who, -1
    via = push(raises, mine)
    if via >= 0:
        return L_BLOCKED, who, via
    return L_DEFERRED, who, -1


def chain_of(task: TaskState) -> tuple[list[TaskState], TaskState | None, int]:
    """The chain of holders of a blocked task, its end, and what that end does."""
    members: list[TaskState] = []
    lock = task.waits
    while lock is not None:
        owner = lock.owner
        if owner is None:
            return members, lock.last_owner, M_HANDS_OVER
        if owner is task or owner in members:
            return members, members[-1] if members else task, M_DEADLOCK
        members.append(owner)
        if owner.state == BLOCKED:
            lock = owner.waits
        elif owner.state == RUNNING:
            return members, owner, M_RUNS
        elif owner.state == READY:
            return members, owner, M_READY
        else:
            return members, owner, M_SLEEPS
    return members, None, M_DEADLOCK
