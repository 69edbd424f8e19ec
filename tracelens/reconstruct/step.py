"""One event after the other: the loop that everything else in this package hangs on.

`advance` is the one function that is compiled for large logs; as plain Python it is the same.
"""

from tracelens.model.events import CODE
from tracelens.reconstruct.arena import (
    AT_ONCE,
    BATCH,
    CORE,
    DEPTH,
    DIRTY,
    EPISODE_CAP,
    EPISODE_USED,
    EVENT_ROW,
    HOLDS_LEFT,
    ITEMS_LEFT,
    JOB_CAP,
    JOB_USED,
    JOBS_LEFT,
    KNOWN,
    LAST,
    LAST_OWN,
    MARGIN,
    MOST_WORK,
    NONE,
    NOW,
    OCCUPANT_CAP,
    OCCUPANT_USED,
    RECORD_CAP,
    RECORD_USED,
    REMOTE_RELEASE,
    RUN,
    RUNNING,
    STATE,
    STATE_CAP,
    STATE_USED,
    WORK,
    Memory,
    core_row,
    task_row,
    touch_core,
)
from tracelens.reconstruct.cores import (
    end_sleep,
    on_enter,
    on_leave,
    on_mask,
    on_pend,
    on_sleep,
    on_unmask,
)
from tracelens.reconstruct.cores import on_wake as on_wake_of_core
from tracelens.reconstruct.gaps import forget_task, on_contradiction, on_lost
from tracelens.reconstruct.jobs import on_arrive, on_finish
from tracelens.reconstruct.locks import on_lock, on_request, on_unlock
from tracelens.reconstruct.queues import on_receive, on_send
from tracelens.reconstruct.settle import accrue, settle
from tracelens.reconstruct.tasks import (
    on_activate,
    on_preempt,
    on_priority,
    on_release,
    on_start,
    on_suspend,
    on_terminate,
    on_wait,
    runs_now,
)

ACTIVATE = CODE["activate"]
START = CODE["start"]
PREEMPT = CODE["preempt"]
WAIT = CODE["wait"]
RELEASE = CODE["release"]
TERMINATE = CODE["terminate"]
SUSPEND = CODE["suspend"]
ARRIVE = CODE["arrive"]
FINISH = CODE["finish"]
ENTER = CODE["enter"]
LEAVE = CODE["leave"]
PEND = CODE["pend"]
MASK = CODE["mask"]
UNMASK = CODE["unmask"]
REQUEST = CODE["request"]
LOCK_EVENT = CODE["lock"]
UNLOCK = CODE["unlock"]
SEND = CODE["send"]
RECEIVE = CODE["receive"]
PRIORITY = CODE["priority"]
SLEEP = CODE["sleep"]
WAKE = CODE["wake"]
LOST_EVENT = CODE["lost"]

SCHED = 1
"""`number` of a mask event that locks the scheduler; interrupts otherwise."""


def is_act(kind: int) -> bool:
    """Whether such an event of a task proves that the task runs there."""
    return (
        kind == WAIT
        or kind == PREEMPT
        or kind == TERMINATE
        or kind == REQUEST
        or kind == LOCK_EVENT
        or kind == UNLOCK
        or kind == RECEIVE
        or kind == FINISH
        or kind == SEND
    )


def prove_running(M: Memory, t: int, c: int) -> None:
    """t acts on core c, where it was not taken to run: a switch was not recorded."""
    r = core_row(M, c)
    if M[r + KNOWN] == 1:
        on_contradiction(M, c, t)
    else:
        accrue(M, c)
        forget_task(M, t, M[r + LAST])
        runs_now(M, t, c)


def on_task_event(M: Memory, kind: int, t: int, c: int, value: int, hint: int) -> None:
    """Dispatch an event whose subject is a task."""
    if kind == START:
        on_start(M, t, c, hint)
    elif kind == RELEASE:
        on_release(M, t, c)
    elif kind == WAIT:
        on_wait(M, t, value, c)
    elif kind == REQUEST:
        on_request(M, t, value, hint == 1)
    elif kind == LOCK_EVENT:
        on_lock(M, t, value)
    elif kind == UNLOCK:
        on_unlock(M, t, value)
    elif kind == PREEMPT:
        on_preempt(M, t)
    elif kind == ACTIVATE:
        on_activate(M, t, c, False)
    elif kind == TERMINATE:
        on_terminate(M, t)
    elif kind == SUSPEND:
        on_suspend(M, t, hint == 1)
    elif kind == PRIORITY:
        on_priority(M, t, value)
    elif kind == ARRIVE:
        r = core_row(M, c)
        by_itself = M[r + RUN] == t and M[r + DEPTH] == 0
        on_arrive(M, t, by_itself, value)
    elif kind == FINISH:
        on_finish(M, t, value)
    elif kind == SEND:
        on_send(M, value)
    elif kind == RECEIVE:
        on_receive(M, t, value)
    elif kind == MASK:
        on_mask(M, c, t, value == SCHED)
    elif kind == UNMASK:
        on_unmask(M, c, value == SCHED)
    if kind == LOCK_EVENT or kind == UNLOCK or kind == REQUEST:
        touch_core(M, c)
    if kind == LOCK_EVENT or kind == REQUEST:
        # A release from another core before this was for the lock, not for a wait to come.
        M[task_row(M, t) + REMOTE_RELEASE] = NONE
    M[task_row(M, t) + LAST_OWN] = M[NOW]


def on_other_event(M: Memory, kind: int, who: int, c: int, value: int, hint: int) -> None:
    """Dispatch an event whose subject is a handler, a core, or nobody. `who`: the handler."""
    if kind == ENTER:
        on_enter(M, who, c, hint)
    elif kind == LEAVE:
        on_leave(M, who, c)
    elif kind == PEND:
        on_pend(M, who)
    elif kind == SEND:
        on_send(M, value)
    elif kind == RECEIVE:
        on_receive(M, NONE, value)
    elif kind == LOCK_EVENT:
        on_lock(M, NONE, value)
    elif kind == UNLOCK:
        on_unlock(M, NONE, value)
    elif kind == MASK:
        on_mask(M, c, NONE, value == SCHED)
    elif kind == UNMASK:
        on_unmask(M, c, value == SCHED)
    elif kind == SLEEP:
        on_sleep(M, c)
    elif kind == WAKE:
        on_wake_of_core(M, c)


def has_room(M: Memory) -> bool:
    """Whether BATCH more events surely fit into the pools and the buffers of finished rows."""
    margin = M[MARGIN]
    return (
        M[JOBS_LEFT] > 2 * BATCH
        and M[HOLDS_LEFT] > BATCH
        and M[ITEMS_LEFT] > BATCH
        and M[STATE_USED] + margin <= M[STATE_CAP]
        and M[OCCUPANT_USED] + margin <= M[OCCUPANT_CAP]
        and M[EPISODE_USED] + margin <= M[EPISODE_CAP]
        and M[JOB_USED] + margin <= M[JOB_CAP]
        and M[RECORD_USED] + margin <= M[RECORD_CAP]
    )


def advance(
    M: Memory,
    times: Memory,
    cores: Memory,
    kinds: Memory,
    whos: Memory,
    values: Memory,
    hints: Memory,
    first: int,
    last: int,
    row: int,
) -> int:
    """Take the events [first, last) into the state; return the first one not taken.

    It stops early when a pool or a buffer may overflow: the driver makes room and goes on; and
    when there is more work than may be: the driver gives up.

    The columns are those of `names.Numbered`; hints: what only a look ahead can tell (see
    `lookahead`); row: number of the event at index 0 in the whole event table.
    """
    i = first
    while i < last:
        if not has_room(M) or M[WORK] > M[MOST_WORK]:
            return i
        stop = min(last, i + M[AT_ONCE])
        while i < stop:
            if times[i] > M[NOW]:
                if M[DIRTY] == 1:
                    settle(M)
                M[NOW] = times[i]
            M[EVENT_ROW] = row + i
            # '| 0' widens the narrow columns to the arena's integers: one compiled form of each
            # function instead of one for every combination of widths.
            take_event(M, kinds[i] | 0, whos[i] | 0, cores[i] | 0, values[i] | 0, hints[i] | 0)
            i += 1
    return i


def take_event(M: Memory, kind: int, who: int, c: int, value: int, hint: int) -> None:
    """Take one event, of this moment, into the state."""
    if kind == LOST_EVENT:
        on_lost(M, c, value)
    elif who >= 0:
        k = task_row(M, who)
        acts = is_act(kind)
        if acts and not (M[k + STATE] == RUNNING and M[k + CORE] == c):
            prove_running(M, who, c)
        accrue(M, c)
        if acts:
            end_sleep(M, c)
        on_task_event(M, kind, who, c, value, hint)
    else:
        accrue(M, c)
        on_other_event(M, kind, -2 - who, c, value, hint)
    M[core_row(M, c) + LAST] = M[NOW]
