"""Who owns a lock, who waits for it, and how a wait ends."""

from tracelens.reconstruct.arena import (
    BASE,
    CHAIN_LENGTH,
    CORE,
    EFFECTIVE,
    EVENT_ROW,
    FREED,
    FROM,
    HELD,
    HOLD_DEPTH,
    HOLD_LOCK,
    HOLD_NEXT,
    HOLD_OVERTAKEN,
    HOLD_OWN,
    HOLD_RAISED,
    HOLD_RAN,
    HOLD_SINCE,
    HOLD_TASK,
    HOLDER_NS,
    HOW,
    INVERSION_KIND,
    LOCK,
    LOWER,
    NEXT_DEADLOCK,
    NEXT_WAIT,
    NONE,
    NOT_WAITING,
    NOW,
    OWNER,
    R_DEADLOCK,
    R_HOLD,
    R_WAIT,
    RAISED,
    RAN,
    RUNNING,
    SEEN_AT,
    SPINS,
    STATE,
    THIRD_NS,
    WAIT_ID,
    WAIT_OWNER,
    WAIT_SINCE,
    WANTED,
    Memory,
    hold_row,
    object_row,
    task_row,
    touch_core,
    touch_task,
)
from tracelens.reconstruct.classify import GOES_ROUND, chain_end, looked_at
from tracelens.reconstruct.emit import emit_record, give_hold, take_hold
from tracelens.reconstruct.inversions import CEILING_REFUSAL, DIRECT, end_inversion
from tracelens.reconstruct.settle import accrue, close_episode, watch


def begin_wait(M: Memory, t: int, lock: int, how: int) -> None:
    """t begins to wait or spin for `lock`, which may be in the way of the one it wants."""
    k = task_row(M, t)
    close_episode(M, t, M[NOW])
    wanted = M[k + WANTED] if M[k + WANTED] >= 0 else lock
    M[k + LOCK] = lock
    M[k + HOW] = how
    M[k + WANTED] = wanted
    M[k + WAIT_ID] = M[NEXT_WAIT]
    M[NEXT_WAIT] += 1
    M[k + WAIT_SINCE] = M[NOW]
    M[k + WAIT_OWNER] = M[object_row(M, lock) + OWNER]
    M[k + INVERSION_KIND] = DIRECT if wanted == lock else CEILING_REFUSAL
    M[k + LOWER] = 0
    M[k + RAISED] = 0
    M[k + CHAIN_LENGTH] = 0
    M[k + HOLDER_NS] = 0
    M[k + THIRD_NS] = 0
    watch(M, t)
    touch_task(M, t)
    if M[object_row(M, lock) + OWNER] >= 0:
        touch_holder(M, M[object_row(M, lock) + OWNER])
        note_deadlock(M, t)


def touch_holder(M: Memory, holder: int) -> None:
    """By which lock a holder is raised depends on who waits: look again at all that see it."""
    touch_task(M, holder)
    core = looked_at(M, holder)
    if core >= 0:
        touch_core(M, core)


def note_deadlock(M: Memory, t: int) -> None:
    """If the holder chain of t comes back to t, every task in it waits for ever."""
    last, how = chain_end(M, t)
    if how != GOES_ROUND or M[object_row(M, M[task_row(M, last) + LOCK]) + OWNER] != t:
        return
    number = M[NEXT_DEADLOCK]
    M[NEXT_DEADLOCK] += 1
    u = t
    position = 0
    while True:
        lock = M[task_row(M, u) + LOCK]
        emit_record(M, R_DEADLOCK, number, position, u, lock, M[NOW], M[EVENT_ROW])
        u = M[object_row(M, lock) + OWNER]
        position += 1
        if u == t:
            break


def end_wait(M: Memory, t: int, at: int, got: int) -> None:
    """t no longer waits for a lock: it has it, it was handed over, it gave up, or nobody knows."""
    k = task_row(M, t)
    if M[k + LOCK] < 0:
        return
    close_episode(M, t, at)
    o = object_row(M, M[k + LOCK])
    freed = M[o + OWNER] < 0 and M[o + FROM] >= 0
    end_inversion(M, t, M[o + FREED] if freed and M[o + FREED] < at else at)
    spun = 1 if M[k + HOW] == SPINS else 0
    since, owner = M[k + WAIT_SINCE], M[k + WAIT_OWNER]
    emit_record(M, R_WAIT, M[k + LOCK], M[k + WANTED], t, since, at, spun, got, owner)
    if M[object_row(M, M[k + LOCK]) + OWNER] >= 0:
        touch_holder(M, M[object_row(M, M[k + LOCK]) + OWNER])
    M[k + LOCK] = NONE
    M[k + HOW] = NOT_WAITING
    watch(M, t)


def on_request(M: Memory, t: int, lock: int, spins: bool) -> None:
    """t wants a lock. It spins from here if another owns it and no wait is to come."""
    k = task_row(M, t)
    end_wait(M, t, M[NOW], 0)
    M[k + WANTED] = lock
    owner = M[object_row(M, lock) + OWNER]
    if owner >= 0 and owner != t and spins:
        begin_wait(M, t, lock, SPINS)


def on_lock(M: Memory, t: int, lock: int) -> None:
    """t holds the lock from here; a task that held it before may still give it back later."""
    o = object_row(M, lock)
    M[o + SEEN_AT] = M[NOW]
    if t < 0:
        overtake(M, lock)
        M[o + OWNER] = NONE
        M[o + FROM] = NONE
        return
    k = task_row(M, t)
    if M[k + LOCK] >= 0:
        end_wait(M, t, M[NOW], 1)
    M[k + WANTED] = NONE
    h = find_hold(M, t, lock)
    if h >= 0 and M[o + OWNER] == t:
        M[hold_row(M, h) + HOLD_DEPTH] += 1
        return
    if h >= 0:
        end_hold(M, h, M[hold_row(M, h) + HOLD_OVERTAKEN], 0)
    overtake(M, lock)
    h = take_hold(M)
    r = hold_row(M, h)
    M[r + HOLD_LOCK] = lock
    M[r + HOLD_TASK] = t
    M[r + HOLD_SINCE] = M[NOW]
    M[r + HOLD_DEPTH] = 1
    M[r + HOLD_RAN] = M[k + RAN]
    M[r + HOLD_OVERTAKEN] = NONE
    M[r + HOLD_RAISED] = 0
    M[r + HOLD_NEXT] = M[k + HELD]
    M[k + HELD] = h
    M[o + OWNER] = t
    M[o + FROM] = NONE
    touch_task(M, t)


def overtake(M: Memory, lock: int) -> None:
    """Another takes the lock before its owner gave it back: the unlock is late, or was lost."""
    owner = M[object_row(M, lock) + OWNER]
    if owner >= 0:
        r = hold_row(M, find_hold(M, owner, lock))
        M[r + HOLD_OVERTAKEN] = M[NOW]
        k = task_row(M, owner)
        if M[k + STATE] == RUNNING:
            accrue(M, M[k + CORE])
        M[r + HOLD_OWN] = M[k + RAN] - M[r + HOLD_RAN]
        restore(M, owner)
        touch_holder(M, owner)


def restore(M: Memory, t: int) -> None:
    """With the last lock that it owns a task is no longer raised."""
    k = task_row(M, t)
    h = M[k + HELD]
    while h >= 0:
        r = hold_row(M, h)
        if M[r + HOLD_OVERTAKEN] < 0:
            return
        h = M[r + HOLD_NEXT]
    M[k + EFFECTIVE] = M[k + BASE]


def on_unlock(M: Memory, t: int, lock: int) -> None:
    """The lock is given back: by t if it holds it, else in the name of its present owner."""
    o = object_row(M, lock)
    M[o + SEEN_AT] = M[NOW]
    if t >= 0:
        M[task_row(M, t) + WANTED] = NONE
    holder = t
    h = find_hold(M, t, lock) if t >= 0 else NONE
    if h < 0:
        holder = M[o + OWNER]
        h = find_hold(M, holder, lock) if holder >= 0 else NONE
    if h < 0:
        if M[o + OWNER] < 0:
            if M[o + FROM] < 0:
                M[o + FREED] = M[NOW]
            M[o + FROM] = t
        return
    r = hold_row(M, h)
    M[r + HOLD_DEPTH] -= 1
    if M[r + HOLD_DEPTH] > 0:
        return
    end_hold(M, h, M[NOW], 1)
    if M[o + OWNER] == holder:
        free_lock(M, lock, t if t >= 0 else holder, M[NOW])
    touch_holder(M, holder)


def free_lock(M: Memory, lock: int, giver: int, at: int) -> None:
    """Nobody owns the lock now: a hand-over by `giver` begins."""
    o = object_row(M, lock)
    M[o + FREED] = at
    M[o + OWNER] = NONE
    M[o + FROM] = giver


def find_hold(M: Memory, t: int, lock: int) -> int:
    """The hold of `lock` by t, or NONE."""
    h = M[task_row(M, t) + HELD]
    while h >= 0 and M[hold_row(M, h) + HOLD_LOCK] != lock:
        h = M[hold_row(M, h) + HOLD_NEXT]
    return h


def end_hold(M: Memory, h: int, at: int, whole: int) -> None:
    """Write a hold down and take it off its task."""
    r = hold_row(M, h)
    t = M[r + HOLD_TASK]
    k = task_row(M, t)
    own = M[k + RAN] - M[r + HOLD_RAN]
    if whole == 0 and M[r + HOLD_OVERTAKEN] >= 0:
        own = M[r + HOLD_OWN]
    emit_record(M, R_HOLD, M[r + HOLD_LOCK], t, M[r + HOLD_SINCE], at, own, whole)
    if M[k + HELD] == h:
        M[k + HELD] = M[r + HOLD_NEXT]
    else:
        g = M[k + HELD]
        while M[hold_row(M, g) + HOLD_NEXT] != h:
            g = M[hold_row(M, g) + HOLD_NEXT]
        M[hold_row(M, g) + HOLD_NEXT] = M[r + HOLD_NEXT]
    give_hold(M, h)
    restore(M, t)


def forget_holds(M: Memory, t: int, since: int) -> None:
    """Nobody knows which locks t holds: its holds end here, or at their locks' last event."""
    while M[task_row(M, t) + HELD] >= 0:
        r = hold_row(M, M[task_row(M, t) + HELD])
        at = M[r + HOLD_OVERTAKEN]
        if at < 0:
            at = max(since, M[object_row(M, M[r + HOLD_LOCK]) + SEEN_AT])
        end_hold(M, M[task_row(M, t) + HELD], at, 0)
