"""What has changed at this moment, written down before time moves on.

Several events may carry one time; what lies between them lasts nothing. So events only change
the state and mark what they touched, and `settle` looks once at all that was touched: who
occupies each core, where each watched task's time goes, which inversion begins, grows or ends.
"""

from tracelens.reconstruct.arena import (
    ACCRUED,
    ACTIVE,
    ACTIVE_AT,
    ASLEEP,
    BACK_BY,
    BACK_END,
    BACK_ENTRY,
    BACK_START,
    BACK_VIA,
    BY,
    BY_TASK,
    CLOUDED,
    CORE_TOUCHED,
    DEPTH,
    DIRTY,
    E_BLOCKED,
    E_INVERSION,
    E_UNKNOWN,
    ENTRY,
    ENTRY_SINCE,
    HAS_IDLE,
    HEAD,
    HELD_BACK,
    HOLDER_NS,
    HOLDER_RUNS,
    HOW,
    IDLE,
    IDLING,
    IN_ISR,
    JOB_FLAGS,
    JOB_ID,
    JOB_NEXT,
    JOB_RAN,
    KNOWN,
    LOCK,
    LOOKS,
    N_ACTIVE,
    N_CORES,
    NOBODY_KNOWS,
    NONE,
    NOW,
    OCCUPANT,
    OCCUPANT_SINCE,
    PUSH_BY,
    PUSH_NS,
    PUSHED,
    R_THIRD,
    RAN,
    READY,
    READY_COUNT,
    REASON,
    RUN,
    SLEEPING,
    SPINS,
    STACK_ISR,
    STACK_OWN,
    STATE,
    SWITCHING,
    THIRD_NS,
    TOUCHED,
    UNSURE_UNTIL,
    VIA,
    WAIT_ID,
    WHO,
    WORK,
    Memory,
    core_row,
    job_row,
    stack_row,
    task_row,
    touch_task,
)
from tracelens.reconstruct.classify import classify
from tracelens.reconstruct.emit import emit_episode, emit_occupant, emit_record
from tracelens.reconstruct.inversions import see_chain, see_push_through


def accrue(M: Memory, c: int) -> None:
    """Count the time since the core's last record for whom it belongs to, up to now.

    What occupies a core changes only by its own records, so one step covers the whole time.
    Spinning for a lock is no execution.
    """
    k = core_row(M, c)
    passed = M[NOW] - M[k + ACCRUED]
    M[k + ACCRUED] = M[NOW]
    if passed <= 0:
        return
    if M[k + DEPTH] > 0:
        M[stack_row(M, c, M[k + DEPTH] - 1) + STACK_OWN] += passed
    elif M[k + RUN] >= 0 and M[k + KNOWN] == 1 and M[k + SLEEPING] == 0:
        u = task_row(M, M[k + RUN])
        if M[u + HOW] != SPINS:
            M[u + RAN] += passed
            if M[u + HEAD] >= 0:
                M[job_row(M, M[u + HEAD]) + JOB_RAN] += passed


def see_occupant(M: Memory, c: int) -> None:
    """Write the core's occupant down if it has changed."""
    k = core_row(M, c)
    who = NONE
    if M[k + DEPTH] > 0:
        occupant = IN_ISR
        who = M[stack_row(M, c, M[k + DEPTH] - 1) + STACK_ISR]
    elif M[k + SLEEPING] == 1:
        occupant = ASLEEP
    elif M[k + KNOWN] == 0:
        occupant = NOBODY_KNOWS
    elif M[k + RUN] >= 0:
        if M[task_row(M, M[k + RUN]) + IDLE] == 1:
            occupant = IDLING
        else:
            occupant = BY_TASK
            who = M[k + RUN]
    elif M[k + READY_COUNT] > 0 or M[k + HAS_IDLE] == 1:
        occupant = SWITCHING
    else:
        occupant = IDLING
    if occupant != M[k + OCCUPANT] or who != M[k + WHO]:
        emit_occupant(M, c, M[k + OCCUPANT_SINCE], M[NOW], M[k + OCCUPANT], M[k + WHO])
        M[k + OCCUPANT] = occupant
        M[k + WHO] = who
        M[k + OCCUPANT_SINCE] = M[NOW]


def note_episode(
    M: Memory, t: int, job: int, start: int, end: int, entry: int, by: int, via: int
) -> None:
    """Remember an episode; it is written when one follows that it does not grow into."""
    k = task_row(M, t)
    if (
        M[k + HELD_BACK] == job
        and M[k + BACK_END] == start
        and M[k + BACK_ENTRY] == entry
        and M[k + BACK_BY] == by
        and M[k + BACK_VIA] == via
    ):
        M[k + BACK_END] = end
        return
    write_episode(M, t)
    M[k + HELD_BACK] = job
    M[k + BACK_START] = start
    M[k + BACK_END] = end
    M[k + BACK_ENTRY] = entry
    M[k + BACK_BY] = by
    M[k + BACK_VIA] = via


def write_episode(M: Memory, t: int) -> None:
    """Write the episode that was held back."""
    k = task_row(M, t)
    if M[k + HELD_BACK] >= 0:
        emit_episode(
            M,
            M[k + HELD_BACK],
            M[k + BACK_START],
            M[k + BACK_END],
            M[k + BACK_ENTRY],
            M[k + BACK_BY],
            M[k + BACK_VIA],
        )
        M[k + HELD_BACK] = NONE


def close_episode(M: Memory, t: int, at: int) -> None:
    """End the stretch of one ledger entry; what follows is to be classified anew."""
    k = task_row(M, t)
    lasted = at - M[k + ENTRY_SINCE]
    if M[k + ENTRY] >= 0 and lasted > 0:
        if M[k + HEAD] >= 0:
            job = M[job_row(M, M[k + HEAD]) + JOB_ID]
            note_episode(M, t, job, M[k + ENTRY_SINCE], at, M[k + ENTRY], M[k + BY], M[k + VIA])
            if M[k + ENTRY] == E_UNKNOWN:
                M[k + UNSURE_UNTIL] = at
                mark_line(M, t, CLOUDED)
        if M[k + LOCK] >= 0:
            if M[k + REASON] == HOLDER_RUNS and M[k + ENTRY] == E_BLOCKED:
                M[k + HOLDER_NS] += lasted
            elif M[k + ENTRY] == E_INVERSION:
                M[k + THIRD_NS] += lasted
                emit_record(M, R_THIRD, M[k + WAIT_ID], M[k + BY], lasted)
        elif M[k + REASON] == PUSHED:
            M[k + PUSH_NS] += lasted
    if at > M[k + ENTRY_SINCE]:
        M[k + ENTRY_SINCE] = at
    M[k + ENTRY] = NONE
    touch_task(M, t)


def mark_line(M: Memory, t: int, flag: int) -> None:
    """Unknown time touches every job of t that is under way: none of them can be judged."""
    j = M[task_row(M, t) + HEAD]
    while j >= 0:
        r = job_row(M, j)
        M[r + JOB_FLAGS] |= flag
        j = M[r + JOB_NEXT]


def classify_anew(M: Memory, t: int) -> None:
    """See whether the time of t goes elsewhere from now on."""
    entry, by, via, reason, core = classify(M, t)
    k = task_row(M, t)
    M[k + LOOKS] = core
    if entry != M[k + ENTRY] or by != M[k + BY] or via != M[k + VIA] or reason != M[k + REASON]:
        close_episode(M, t, M[NOW])
        M[k + ENTRY] = entry
        M[k + BY] = by
        M[k + VIA] = via
        M[k + REASON] = reason
    if M[k + LOCK] >= 0:
        see_chain(M, t)
    if M[k + STATE] == READY or M[k + PUSH_BY] >= 0:
        see_push_through(M, t)


def watch(M: Memory, t: int) -> None:
    """Put a task on the list of those to look at, or take it off: it is watched while it has a
    job, is ready, or waits for a lock."""
    k = task_row(M, t)
    wanted = (
        M[k + HEAD] >= 0
        or (M[k + STATE] == READY and M[k + IDLE] == 0)
        or M[k + LOCK] >= 0
        or M[k + PUSH_BY] >= 0
    )
    at = M[k + ACTIVE_AT]
    if wanted and at < 0:
        M[M[ACTIVE] + M[N_ACTIVE]] = t
        M[k + ACTIVE_AT] = M[N_ACTIVE]
        M[N_ACTIVE] += 1
        M[k + ENTRY] = NONE
        M[k + ENTRY_SINCE] = M[NOW]
        touch_task(M, t)
    elif not wanted and at >= 0:
        M[N_ACTIVE] -= 1
        other = M[M[ACTIVE] + M[N_ACTIVE]]
        M[M[ACTIVE] + at] = other
        M[task_row(M, other) + ACTIVE_AT] = at
        M[k + ACTIVE_AT] = NONE
        M[k + ENTRY] = NONE


def settle(M: Memory) -> None:
    """Bring occupants, ledgers and inversions up to the state that lasts from now on."""
    M[DIRTY] = 0
    M[WORK] += M[N_ACTIVE]
    for c in range(M[N_CORES]):
        if M[core_row(M, c) + CORE_TOUCHED] == 1:
            see_occupant(M, c)
    i = 0
    while i < M[N_ACTIVE]:
        t = M[M[ACTIVE] + i]
        k = task_row(M, t)
        core = M[k + LOOKS]
        if (
            M[k + TOUCHED] == 1
            or M[k + LOCK] >= 0
            or (core >= 0 and M[core_row(M, core) + CORE_TOUCHED] == 1)
        ):
            classify_anew(M, t)
            M[k + TOUCHED] = 0
            if M[k + PUSH_BY] < 0:
                watch(M, t)
                if M[k + ACTIVE_AT] < 0:
                    continue
        i += 1
    for c in range(M[N_CORES]):
        M[core_row(M, c) + CORE_TOUCHED] = 0
    M[DIRTY] = 0
