"""What only the rest of the log can tell, found in one pass from its end to its begin.

Four rules look ahead: a ready task looks at the core where it next starts; a request spins if
the lock follows without a wait; a job suspended by another's hand
goes on if the task is activated again; a handler that enters again before it leaves has lost its
leave.
"""

from tracelens.model.events import CODE
from tracelens.reconstruct.arena import Memory

_START = CODE["start"]
_REQUEST = CODE["request"]
_LOCK = CODE["lock"]
_UNLOCK = CODE["unlock"]
_WAIT = CODE["wait"]
_TERMINATE = CODE["terminate"]
_ACTIVATE = CODE["activate"]
_SUSPEND = CODE["suspend"]
_SEND = CODE["send"]
_RECEIVE = CODE["receive"]
_ENTER = CODE["enter"]
_LEAVE = CODE["leave"]

_NOTHING = -1
_ANOTHER = -2


def look_ahead(
    kinds: Memory,
    cores: Memory,
    whos: Memory,
    values: Memory,
    next_core: Memory,
    next_act: Memory,
    activated: Memory,
    next_isr: Memory,
    isrs: int,
    started: Memory,
    n_tasks: int,
    hints: Memory,
) -> None:
    """Fill `hints`, one an event, and leave the core of each task's first start in `next_core`.

    start: the core of the task's next start, -1 if none; request: 1 if it spins; suspend: 1 if
    the task is activated again; enter: 1 if its leave is missing. next_core and next_act (one a
    task) must be -1, activated (one a task), next_isr (one a core and handler) and started (one a
    core and task: whether it ever starts there) 0.
    """
    for i in range(len(kinds) - 1, -1, -1):
        kind = kinds[i] | 0
        t = whos[i] | 0
        if t >= 0:
            if kind == _START:
                hints[i] = next_core[t]
                next_core[t] = cores[i]
                started[cores[i] * n_tasks + t] = 1
            elif kind == _REQUEST:
                hints[i] = 1 if next_act[t] == values[i] or next_act[t] == _NOTHING else 0
                next_act[t] = _ANOTHER
            elif kind == _LOCK:
                next_act[t] = values[i]
            elif kind == _ACTIVATE:
                activated[t] = 1
            elif kind == _SUSPEND:
                hints[i] = activated[t]
            elif kind == _WAIT or kind == _UNLOCK or kind == _TERMINATE:
                next_act[t] = _ANOTHER
        elif t < -1 and (kind == _ENTER or kind == _LEAVE):
            slot = cores[i] * isrs - 2 - t
            if kind == _ENTER:
                hints[i] = 0 if next_isr[slot] == 1 else 1
                next_isr[slot] = 2
            else:
                next_isr[slot] = 1


def short_of_items(
    kinds: Memory, whos: Memory, values: Memory, items: Memory, short: Memory
) -> None:
    """Mark in `short` the queues that held items before the first event: more is taken out of
    them than was put in, before any task waits for one. `items` and `short`, one an object, 0.
    """
    for i in range(len(kinds)):
        kind = kinds[i] | 0
        thing = values[i] | 0
        if kind == _SEND:
            items[thing] += 1
        elif kind == _RECEIVE:
            items[thing] -= 1
            if items[thing] == -1:
                short[thing] = 1
        elif kind == _WAIT and thing >= 0 and items[thing] >= 0:
            items[thing] = _PROVEN


_PROVEN = 1 << 40
"""Items of a queue that was seen empty: it will not run short of the first ones any more."""
