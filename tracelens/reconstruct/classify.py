"""Where a task's time goes at this moment: the ledger's table, row by row.

`classify` is that table. The first row that fits holds; what a row needs to know (the core that
the task looks at, the end of its holder chain, whether a lock raises another) stands in the
small functions before it.
"""

from tracelens.reconstruct.arena import (
    ACTIVE,
    ASLEEP,
    BASE,
    BY_TASK,
    CEILING,
    CORE,
    DEADLINE,
    E_ASLEEP,
    E_BLOCKED,
    E_DEFERRED,
    E_EXECUTION,
    E_INTERFERENCE,
    E_INVERSION,
    E_ISR,
    E_SUSPENDED,
    E_SWITCHING,
    E_UNKNOWN,
    E_UNRANKED,
    EDF,
    EFFECTIVE,
    FAR,
    FROM,
    HEAD,
    HELD,
    HOLD_LOCK,
    HOLD_NEXT,
    HOLD_OVERTAKEN,
    HOLD_RAISED,
    HOLDER_RUNS,
    IN_ISR,
    IRQ_MASKS,
    JOB_FLAGS,
    JOB_RELEASE,
    LOCK,
    N_ACTIVE,
    N_OBJECTS,
    N_TASKS,
    NO_PRIORITY,
    NO_REASON,
    NOBODY_KNOWS,
    NONE,
    OCCUPANT,
    OWNER,
    POLICY,
    PUSHED,
    READY,
    READY_ON,
    ROUND_ROBIN,
    RUNNING,
    SCHED_MASKS,
    SEEN,
    STAMP,
    STARTUP,
    STATE,
    SUSPENDED,
    UNKNOWN,
    WAIT_OBJECT,
    WAITING,
    WHO,
    WORK,
    Memory,
    core_row,
    hold_row,
    job_row,
    object_row,
    task_row,
)

HELD_BY, HANDED_OVER, GOES_ROUND = range(3)
"""How a holder chain ends: at an owner, at a hand-over, or in a cycle (a deadlock)."""


def urgency(M: Memory, t: int, for_ledger: bool = False) -> int:
    """The base priority as a number that is higher for the more urgent; under EDF the deadline.

    NO_PRIORITY if it is not known. Under EDF a task without a job or a deadline is least urgent;
    a start-up is no job, except in its own ledger, which is kept only if it turns out to be one.
    """
    k = task_row(M, t)
    if M[POLICY] == EDF:
        if M[k + HEAD] < 0 or M[k + DEADLINE] < 0:
            return -FAR + 1
        r = job_row(M, M[k + HEAD])
        if M[r + JOB_FLAGS] & STARTUP and not for_ledger:
            return -FAR + 1
        return -(M[r + JOB_RELEASE] + M[k + DEADLINE])
    return M[k + BASE]


def raises(M: Memory, lock: int, level: int) -> bool:
    """Whether a task of this urgency or a higher one waits for the lock."""
    M[WORK] += M[N_ACTIVE]
    for i in range(M[N_ACTIVE]):
        k = task_row(M, M[M[ACTIVE] + i])
        if M[k + LOCK] == lock and M[k + EFFECTIVE] >= level:
            return True
    return False


def raising_lock(M: Memory, u: int, level: int) -> int:
    """The lock most recently taken of those by which u is raised to `level` or above, or NONE.

    A declared ceiling raises by itself. A priority set while holding raises by the locks that
    somebody so urgent waits for; where nobody does, by those held when it was set. Under EDF
    neither says anything: a priority number is no deadline.
    """
    k = task_row(M, u)
    if M[k + HELD] < 0 or M[POLICY] == EDF:
        return NONE
    by_event = M[k + EFFECTIVE] >= level and M[k + EFFECTIVE] > M[k + BASE]
    latest = NONE  # by a ceiling or a waiter
    latest_set = NONE
    h = M[k + HELD]
    while h >= 0 and latest < 0:
        r = hold_row(M, h)
        h = M[r + HOLD_NEXT]
        if M[r + HOLD_OVERTAKEN] >= 0:
            continue
        lock = M[r + HOLD_LOCK]
        ceiling = M[object_row(M, lock) + CEILING]
        if (ceiling != NO_PRIORITY and ceiling >= level and ceiling > M[k + BASE]) or (
            by_event and raises(M, lock, level)
        ):
            latest = lock
        elif by_event and latest_set < 0 and M[r + HOLD_RAISED] == 1:
            latest_set = lock
    return latest if latest >= 0 else latest_set


def is_raised(M: Memory, u: int) -> bool:
    """Whether a lock that u holds has lifted it above its base priority."""
    k = task_row(M, u)
    base = M[k + BASE]
    if base == NO_PRIORITY:
        return False
    return raising_lock(M, u, base + 1) >= 0


def chain_end(M: Memory, t: int) -> tuple[int, int]:
    """The end of the holder chain of a task that waits for a lock, and how the chain ends.

    The owner, the owner of what the owner waits for, and so on; a hand-over ends it at the one
    who hands over (NONE if that is not known), a cycle before the first task that repeats.
    """
    M[STAMP] += 1
    stamp = M[STAMP]
    last = t
    M[task_row(M, t) + SEEN] = stamp
    while True:
        M[WORK] += 1
        o = object_row(M, M[task_row(M, last) + LOCK])
        owner = M[o + OWNER]
        if owner < 0:
            return M[o + FROM], HANDED_OVER
        k = task_row(M, owner)
        if M[k + SEEN] == stamp:
            return last, GOES_ROUND
        M[k + SEEN] = stamp
        if M[k + LOCK] < 0:
            return owner, HELD_BY
        last = owner


def in_chain(M: Memory, t: int, u: int) -> bool:
    """Whether u is in the chain of t: `chain_end(M, t)` must have been asked just before."""
    return M[task_row(M, u) + SEEN] == M[STAMP] and u != t


def looked_at(M: Memory, t: int) -> int:
    """The core where a task runs, next starts while it is ready, or last ran; NONE if never."""
    k = task_row(M, t)
    if M[k + STATE] == READY:
        return M[k + READY_ON]
    return M[k + CORE]


def classify(M: Memory, t: int) -> tuple[int, int, int, int, int]:
    """(entry, by, via, reason, core): the ledger's row for task t from now on.

    `by` is a task, or number of tasks + handler; `via` an object, or number of objects for
    'mask'; `reason` tells blocked by a running holder and push-through from other blocking.
    """
    k = task_row(M, t)
    state = M[k + STATE]
    lock = M[k + LOCK]
    if state == UNKNOWN:
        return E_UNKNOWN, NONE, NONE, NO_REASON, NONE
    end = NONE
    how = HELD_BY
    if lock < 0:
        if state == WAITING or state == SUSPENDED:
            via = M[k + WAIT_OBJECT] if state == WAITING else NONE
            return E_SUSPENDED, NONE, via, NO_REASON, NONE
        core = looked_at(M, t)
    else:
        end, how = chain_end(M, t)
        core = looked_at(M, end) if end >= 0 else NONE
        if core < 0:
            core = looked_at(M, t)
    if core < 0:
        if lock >= 0:
            return E_BLOCKED, end, lock, NO_REASON, NONE
        return E_SWITCHING, NONE, NONE, NO_REASON, NONE

    c = core_row(M, core)
    occupant = M[c + OCCUPANT]
    if occupant == NOBODY_KNOWS:
        return E_UNKNOWN, NONE, NONE, NO_REASON, core
    if occupant == IN_ISR:
        return E_ISR, M[N_TASKS] + M[c + WHO], NONE, NO_REASON, core
    if occupant == ASLEEP:
        return E_ASLEEP, NONE, NONE, NO_REASON, core
    if lock < 0 and state == RUNNING:
        return E_EXECUTION, t, NONE, NO_REASON, core
    if lock >= 0:
        if how != HELD_BY:
            return E_BLOCKED, end, lock, NO_REASON, core
        end_state = M[task_row(M, end) + STATE]
        if end_state == UNKNOWN:
            return E_UNKNOWN, NONE, NONE, NO_REASON, core
        if end_state == RUNNING:
            return E_BLOCKED, end, lock, HOLDER_RUNS, core
        if end_state != READY:
            return E_BLOCKED, end, lock, NO_REASON, core
    u = M[c + WHO] if occupant == BY_TASK else NONE
    if u == t:
        # It spins where its holder is to run: nobody else keeps the holder from the core.
        return E_BLOCKED, end, lock, NO_REASON, core
    if u < 0:
        return E_SWITCHING, NONE, NONE, NO_REASON, core
    mine = urgency(M, t, True)
    theirs = urgency(M, u)
    if M[POLICY] == ROUND_ROBIN and mine == theirs:
        return E_INTERFERENCE, u, NONE, NO_REASON, core
    if mine == NO_PRIORITY or theirs == NO_PRIORITY:
        return E_UNRANKED, u, NONE, NO_REASON, core
    if theirs >= mine:
        return E_INTERFERENCE, u, NONE, NO_REASON, core
    raiser = raising_lock(M, u, mine)
    if raiser >= 0:
        return E_BLOCKED, u, raiser, PUSHED, core
    if lock >= 0:
        if in_chain(M, t, u):
            return E_BLOCKED, end, lock, NO_REASON, core
        return E_INVERSION, u, lock, NO_REASON, core
    masked = M[c + IRQ_MASKS] > 0 or M[c + SCHED_MASKS] > 0
    return E_DEFERRED, u, M[N_OBJECTS] if masked else NONE, NO_REASON, core
