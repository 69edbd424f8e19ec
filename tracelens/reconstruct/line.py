"""The line of a task's open jobs: first in, first out.

Only the head's time is classified; for the others an earlier job is not complete, which is
backlog, written when they become the head.
"""

from tracelens.reconstruct.arena import (
    CLOUDED,
    CORE,
    DISCARDED,
    E_BACKLOG,
    ENTRY,
    ENTRY_SINCE,
    EVENT_ROW,
    EXCLUDED,
    EXCLUDED_JOB,
    FAR,
    HEAD,
    JOB_CAP,
    JOB_EVENT,
    JOB_FLAGS,
    JOB_ID,
    JOB_NEXT,
    JOB_NOMINAL,
    JOB_NUMBER,
    JOB_RAN,
    JOB_RELEASE,
    JOB_ROWS,
    JOB_START,
    JOB_USED,
    NEXT_JOB,
    NONE,
    NOW,
    OFFSET,
    PERIOD,
    PROVISIONAL,
    RUNNING,
    SLACK,
    STARTUP,
    STATE,
    TAIL,
    UNSURE_UNTIL,
    Memory,
    job_row,
    task_row,
    touch_core,
)
from tracelens.reconstruct.emit import emit_episode, give_job, take_job
from tracelens.reconstruct.settle import accrue, close_episode, note_episode, watch, write_episode


def begin_job(M: Memory, t: int, release: int, flags: int, number: int = -1) -> int:
    """Put a job in the task's line. `release` may lie before now (an item, a nominal release)."""
    k = task_row(M, t)
    j = take_job(M)
    r = job_row(M, j)
    M[r + JOB_ID] = M[NEXT_JOB]
    M[NEXT_JOB] += 1
    M[r + JOB_RELEASE] = release
    M[r + JOB_START] = NONE
    M[r + JOB_RAN] = 0
    unsure = release < M[k + UNSURE_UNTIL]
    M[r + JOB_FLAGS] = flags | CLOUDED if unsure else flags
    M[r + JOB_EVENT] = M[EVENT_ROW]
    M[r + JOB_NUMBER] = number
    M[r + JOB_NEXT] = NONE
    M[r + JOB_NOMINAL] = nominal(M, t, release)
    if M[k + HEAD] < 0:
        if M[k + STATE] == RUNNING:
            accrue(M, M[k + CORE])
        if M[k + ENTRY] >= 0:
            close_episode(M, t, M[NOW])
        M[k + HEAD] = j
        M[k + TAIL] = j
        lead(M, t)
    else:
        M[job_row(M, M[k + TAIL]) + JOB_NEXT] = j
        M[k + TAIL] = j
    return j


def nominal(M: Memory, t: int, release: int) -> int:
    """The grid point that a release of a periodic task belongs to; FAR without a grid.

    The last one that the release does not precede; by no more than SLACK, with a declared offset.
    """
    k = task_row(M, t)
    period = M[k + PERIOD]
    origin = M[k + OFFSET]
    if period <= 0 or origin == FAR:
        return FAR
    return origin + (release - origin + M[k + SLACK]) // period * period


def lead(M: Memory, t: int) -> None:
    """The head job of t's line is now the one that t works on."""
    k = task_row(M, t)
    r = job_row(M, M[k + HEAD])
    if M[r + JOB_RELEASE] < M[NOW]:
        note_episode(M, t, M[r + JOB_ID], M[r + JOB_RELEASE], M[NOW], E_BACKLOG, NONE, NONE)
    M[k + ENTRY] = NONE
    M[k + ENTRY_SINCE] = M[NOW]
    if M[k + STATE] == RUNNING:
        touch_core(M, M[k + CORE])
        M[r + JOB_START] = M[NOW]
    watch(M, t)


def emit_job(M: Memory, t: int, j: int, status: int, end: int) -> None:
    """Write a job down that ends at `end`."""
    r = job_row(M, j)
    flags = M[r + JOB_FLAGS]
    doubtful = flags & (EXCLUDED | CLOUDED)
    cap = M[JOB_CAP]
    out = M[JOB_ROWS] + M[JOB_USED]
    M[out] = M[r + JOB_ID]
    M[out + cap] = t
    M[out + 2 * cap] = M[r + JOB_RELEASE]
    M[out + 3 * cap] = M[r + JOB_START]
    M[out + 4 * cap] = end
    M[out + 5 * cap] = EXCLUDED_JOB if doubtful and status != DISCARDED else status
    M[out + 6 * cap] = flags
    M[out + 7 * cap] = M[r + JOB_RAN]
    M[out + 8 * cap] = M[r + JOB_EVENT]
    M[out + 9 * cap] = M[EVENT_ROW]
    M[JOB_USED] += 1


def end_job(M: Memory, t: int, status: int) -> None:
    """End the head job now; the next in line becomes the head."""
    k = task_row(M, t)
    j = M[k + HEAD]
    if M[k + STATE] == RUNNING:
        accrue(M, M[k + CORE])
    close_episode(M, t, M[NOW])
    write_episode(M, t)
    emit_job(M, t, j, status, M[NOW])
    M[k + HEAD] = M[job_row(M, j) + JOB_NEXT]
    give_job(M, j)
    if M[k + HEAD] < 0:
        M[k + TAIL] = NONE
        watch(M, t)
    else:
        lead(M, t)


def end_line(M: Memory, t: int, status: int) -> None:
    """End all jobs of t now; those behind the head have not begun."""
    k = task_row(M, t)
    if M[k + HEAD] < 0:
        return
    if M[k + STATE] == RUNNING:
        accrue(M, M[k + CORE])
    close_episode(M, t, M[NOW])
    write_episode(M, t)
    j = M[k + HEAD]
    while j >= 0:
        r = job_row(M, j)
        if j != M[k + HEAD]:
            emit_episode(M, M[r + JOB_ID], M[r + JOB_RELEASE], M[NOW], E_BACKLOG, NONE, NONE)
        tried = M[r + JOB_FLAGS] & (STARTUP | PROVISIONAL) != 0
        emit_job(M, t, j, DISCARDED if tried else status, M[NOW])
        following = M[r + JOB_NEXT]
        give_job(M, j)
        j = following
    M[k + HEAD] = NONE
    M[k + TAIL] = NONE
    watch(M, t)


def head_flag(M: Memory, t: int, flag: int) -> bool:
    """Whether t has a job under way with this flag."""
    j = M[task_row(M, t) + HEAD]
    return j >= 0 and M[job_row(M, j) + JOB_FLAGS] & flag != 0


def in_line(M: Memory, t: int, number: int) -> bool:
    """Whether a job with this number of the firmware is in the line of t."""
    j = M[task_row(M, t) + HEAD]
    while j >= 0:
        r = job_row(M, j)
        if M[r + JOB_NUMBER] == number:
            return True
        j = M[r + JOB_NEXT]
    return False
