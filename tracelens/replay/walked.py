"""The state of the pass over the events: what its arrays hold, and who has a core."""

from typing import Final

from tracelens.engine.core_time import TAKEN
from tracelens.reconstruct.arena import Memory

# States of a task.
UNSEEN: Final = 0
READY: Final = 1
RUNNING: Final = 2
WAITING: Final = 3
OUT: Final = 4  # terminated or suspended

# Fields of a core.
LAST: Final = 0  # time up to which it is accounted for
CUR: Final = 1  # the task that has it, −1
DEPTH: Final = 2  # of nested handlers
ASLEEP: Final = 3
BLIND: Final = 4  # 1: it is not known who has it
BLIND_FROM: Final = 5
NOBODY: Final = 6  # ns that nobody had it, so far
BEGUN: Final = 7  # the same, when the switch to the next task began; −1: nobody was ready
TOOK: Final = 8  # how its task left it: LEFT, TAKEN or BLOCKED
FRESH: Final = 9  # ns that its task ran since the last event on it
GIVING: Final = 10  # 1: that event was the task's unlock or send, or a release that followed it
NEST: Final = 11  # the handlers, outermost first
DEEPEST: Final = 24
CORE_WIDTH: Final = NEST + DEEPEST

# Fields of a task.
STATE: Final = 0
WHERE: Final = 1  # the core that it runs on
READY_AT: Final = 2
HELD: Final = 3
BASE: Final = 4  # base priority
REMOTE: Final = 5  # time of a release that came while it ran
PENDING: Final = 6  # activations that came while it was at work
TASK_WIDTH: Final = 7


def account(core: Memory, ran: Memory, c: int, now: int) -> None:
    """Give the time since the last event on the core to whoever had it."""
    passed = now - core[c, LAST]
    core[c, LAST] = now
    if passed <= 0:
        return
    depth = core[c, DEPTH]
    if depth > 0:
        ran[core[c, NEST + depth - 1]] += passed
    elif core[c, BLIND] == 1 or core[c, ASLEEP] == 1:
        return
    elif core[c, CUR] >= 0:
        ran[core[c, CUR]] += passed
        core[c, FRESH] += passed
    else:
        core[c, NOBODY] += passed


def ready(core: Memory, task: Memory, t: int, c: int, now: int) -> None:
    """The task becomes ready; if nobody has the core, a switch begins."""
    task[t, STATE] = READY
    task[t, READY_AT] = now
    if core[c, CUR] < 0 and core[c, BEGUN] < 0:
        core[c, BEGUN] = core[c, NOBODY]


def vacate(core: Memory, task: Memory, has_idle: Memory, t: int, took: int) -> None:
    """The task leaves its core, if it has one; a switch begins if somebody is ready."""
    c = task[t, WHERE]
    if task[t, STATE] == RUNNING and core[c, CUR] == t:
        core[c, CUR] = -1
        core[c, TOOK] = took
        ready = has_idle[c] == 1 or took == TAKEN
        for other in range(len(task)):
            ready = ready or task[other, STATE] == READY
        core[c, BEGUN] = core[c, NOBODY] if ready else -1
