"""Priority inversions: a task of higher base priority held up by a lock of a lower one.

One record a wait for a lock (`direct`, or `ceiling` where the lock was free), and one for each time
in which a ready task is kept off by a lower one that a lock has raised (`push_through`).
"""

from tracelens.reconstruct.arena import (
    CHAIN_LENGTH,
    CHAINS,
    HEAD,
    HELD,
    HOLDER_NS,
    IDLE,
    INVERSION_KIND,
    JOB_ID,
    KNOWN,
    LOCK,
    LOWER,
    MAX_CHAIN,
    NEXT_INVERSION,
    NO_PRIORITY,
    NONE,
    NOW,
    OWNER,
    PUSH_BY,
    PUSH_ID,
    PUSH_LOCK,
    PUSH_NS,
    PUSH_SINCE,
    R_INVERSION,
    R_LINK,
    RAISED,
    READY,
    RUN,
    SEEN,
    STAMP,
    STATE,
    THIRD_NS,
    WAIT_ID,
    WAIT_SINCE,
    WORK,
    Memory,
    core_row,
    job_row,
    object_row,
    task_row,
)
from tracelens.reconstruct.classify import is_raised, looked_at, raising_lock, urgency
from tracelens.reconstruct.emit import emit_record

DIRECT, PUSH_THROUGH, CEILING_REFUSAL = range(3)


def see_chain(M: Memory, t: int) -> None:
    """Keep the longest holder chain of a wait, and whether a lower or a raised task is in it."""
    k = task_row(M, t)
    if M[object_row(M, M[k + LOCK]) + OWNER] < 0:
        return
    mine = urgency(M, t)
    M[STAMP] += 1
    stamp = M[STAMP]
    M[k + SEEN] = stamp
    length = 0
    u = t
    while length < MAX_CHAIN and M[task_row(M, u) + LOCK] >= 0:
        u = M[object_row(M, M[task_row(M, u) + LOCK]) + OWNER]
        if u < 0 or M[task_row(M, u) + SEEN] == stamp:
            break
        M[task_row(M, u) + SEEN] = stamp
        length += 1
        theirs = urgency(M, u)
        if theirs != NO_PRIORITY and mine != NO_PRIORITY and theirs < mine:
            M[k + LOWER] = 1
        if is_raised(M, u):
            M[k + RAISED] = 1
    M[WORK] += length
    if length > M[k + CHAIN_LENGTH]:
        M[k + CHAIN_LENGTH] = length
        u = t
        for i in range(length):
            u = M[object_row(M, M[task_row(M, u) + LOCK]) + OWNER]
            M[M[CHAINS] + t * MAX_CHAIN + i] = u


def end_inversion(M: Memory, t: int, at: int) -> None:
    """A wait of t for a lock is over: if a lower task held it up, until `at`, write it down."""
    k = task_row(M, t)
    if M[k + LOWER] == 1 and at > M[k + WAIT_SINCE]:
        number = M[NEXT_INVERSION]
        M[NEXT_INVERSION] += 1
        job = M[job_row(M, M[k + HEAD]) + JOB_ID] if M[k + HEAD] >= 0 else NONE
        # A gap on the holder's core ends the wait before what other cores showed meanwhile.
        third_ns = min(M[k + THIRD_NS], at - M[k + WAIT_SINCE])
        emit_record(
            M,
            R_INVERSION,
            number,
            M[k + INVERSION_KIND],
            t,
            M[k + LOCK],
            M[k + WAIT_SINCE],
            at,
            min(M[k + HOLDER_NS], at - M[k + WAIT_SINCE] - third_ns),
            third_ns,
            M[k + RAISED],
            job,
            M[k + WAIT_ID],
        )
        for i in range(M[k + CHAIN_LENGTH]):
            emit_record(M, R_LINK, number, i, M[M[CHAINS] + t * MAX_CHAIN + i])
    M[k + LOWER] = 0
    M[k + RAISED] = 0
    M[k + CHAIN_LENGTH] = 0
    M[k + HOLDER_NS] = 0
    M[k + THIRD_NS] = 0


def see_push_through(M: Memory, t: int) -> None:
    """Begin or end a push-through: t is ready while a lower task runs, raised by a lock.

    It is told by the states of tasks: a handler on top of the raised task does not end it.
    """
    k = task_row(M, t)
    by = NONE
    lock = NONE
    core = looked_at(M, t)
    if M[k + STATE] == READY and M[k + LOCK] < 0 and core >= 0 and M[k + IDLE] == 0:
        c = core_row(M, core)
        u = M[c + RUN]
        if u >= 0 and M[c + KNOWN] == 1 and u != t and M[task_row(M, u) + HELD] >= 0:
            mine = urgency(M, t)
            theirs = urgency(M, u)
            if mine != NO_PRIORITY and theirs != NO_PRIORITY and theirs < mine:
                lock = raising_lock(M, u, mine)
                if lock >= 0:
                    by = u
    if by != M[k + PUSH_BY] or lock != M[k + PUSH_LOCK]:
        end_push_through(M, t, M[NOW])
        if by >= 0:
            begin_push_through(M, t, by, lock)


def begin_push_through(M: Memory, t: int, by: int, lock: int) -> None:
    """Its chain: the raised task, then whom it spins for."""
    k = task_row(M, t)
    M[k + PUSH_BY] = by
    M[k + PUSH_LOCK] = lock
    M[k + PUSH_SINCE] = M[NOW]
    M[k + PUSH_NS] = 0
    M[k + PUSH_ID] = M[NEXT_INVERSION]
    M[NEXT_INVERSION] += 1
    u = by
    position = 0
    while position < MAX_CHAIN:
        emit_record(M, R_LINK, M[k + PUSH_ID], position, u)
        position += 1
        if M[task_row(M, u) + LOCK] < 0:
            break
        u = M[object_row(M, M[task_row(M, u) + LOCK]) + OWNER]
        if u < 0 or u == by:
            break


def end_push_through(M: Memory, t: int, at: int) -> None:
    """Write down the push-through that t suffered until `at`."""
    k = task_row(M, t)
    if M[k + PUSH_BY] >= 0 and at > M[k + PUSH_SINCE]:
        job = M[job_row(M, M[k + HEAD]) + JOB_ID] if M[k + HEAD] >= 0 else NONE
        emit_record(
            M,
            R_INVERSION,
            M[k + PUSH_ID],
            PUSH_THROUGH,
            t,
            M[k + PUSH_LOCK],
            M[k + PUSH_SINCE],
            at,
            M[k + PUSH_NS],
            0,
            1,
            job,
            NONE,
        )
    M[k + PUSH_BY] = NONE
    M[k + PUSH_LOCK] = NONE
