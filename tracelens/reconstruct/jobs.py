"""Where a task's jobs begin and end, by its activation rule."""

from tracelens.reconstruct.arena import (
    ABORTED,
    ACTIVATION,
    BY_ACTIVATE,
    BY_MARKS,
    BY_OBJECT,
    BY_QUEUE,
    BY_RELEASE,
    CLIPPED,
    CLOUDED,
    COMPLETE,
    CONSUMER,
    DISCARDED,
    E_SUSPENDED,
    EVENT_ROW,
    EXCLUDED,
    EXCLUDED_JOB,
    FAR,
    FIRST_RELEASE,
    GIVEN_UP,
    HEAD,
    INFERRED,
    JOB_FLAGS,
    JOB_ID,
    JOB_NEXT,
    JOB_NOMINAL,
    JOB_NUMBER,
    JOB_RELEASE,
    JOB_START,
    JOB_WIDTH,
    JOBS,
    MARKED,
    MARKS_SEEN,
    MODE,
    NO_JOBS,
    NO_MARKS,
    NONE,
    NOW,
    PERIOD,
    PROVISIONAL,
    RECEIVED,
    RUNNING,
    SHARED,
    SPLIT,
    SPLIT_CANDIDATES,
    STARTUP,
    STATE,
    TAIL,
    UNDER_WAY,
    UNSURE_UNTIL,
    Memory,
    job_row,
    object_row,
    task_row,
)
from tracelens.reconstruct.emit import emit_episode, emit_unused, give_job
from tracelens.reconstruct.line import begin_job, emit_job, end_job, head_flag, in_line
from tracelens.reconstruct.settle import mark_line

_UNUSED_FINISH = 1


def seen_running(M: Memory, t: int) -> None:
    """t runs though its state was not known: it is in the middle of a job that cannot be judged."""
    k = task_row(M, t)
    M[k + MARKED] = MARKS_SEEN
    if M[k + HEAD] < 0 and M[k + MODE] != NO_JOBS:
        begin_job(M, t, M[NOW], EXCLUDED | RECEIVED | UNDER_WAY)


def takes_from_shared(M: Memory, t: int) -> bool:
    """Whether other tasks, too, take from the queue whose items begin the jobs of t."""
    return M[object_row(M, M[task_row(M, t) + ACTIVATION]) + CONSUMER] == SHARED


def on_release_of_job(
    M: Memory, t: int, waited_for: int, wait_seen: bool, was_lock: bool, implied: bool
) -> None:
    """t was released from a wait: does that begin a job? `implied`: only its start says so."""
    k = task_row(M, t)
    mode = M[k + MODE]
    if mode == BY_MARKS and M[k + FIRST_RELEASE] < 0:
        M[k + FIRST_RELEASE] = M[NOW]
    shared = mode == BY_QUEUE and waited_for == M[k + ACTIVATION] and takes_from_shared(M, t)
    if mode == BY_MARKS or shared:
        if head_flag(M, t, EXCLUDED):
            # It may go on, but cannot be judged; a job that begins here can.
            end_job(M, t, EXCLUDED_JOB)
            M[k + MARKED] = GIVEN_UP
        if M[k + HEAD] < 0:
            begin_job(M, t, M[NOW], PROVISIONAL)
    elif was_lock:
        return
    elif mode == BY_RELEASE or (
        mode == BY_OBJECT and wait_seen and waited_for == M[k + ACTIVATION]
    ):
        if head_flag(M, t, EXCLUDED | STARTUP):
            end_job(M, t, DISCARDED if head_flag(M, t, STARTUP) else EXCLUDED_JOB)
        if M[k + HEAD] < 0:
            begin_job(M, t, M[NOW], INFERRED if implied else 0)


def on_wait_of_job(M: Memory, t: int, waits_for: int) -> None:
    """t begins to wait for something that is not a lock: does that end its job?"""
    k = task_row(M, t)
    mode = M[k + MODE]
    if M[k + HEAD] < 0 or mode == BY_MARKS:
        return
    if head_flag(M, t, STARTUP):
        end_job(M, t, DISCARDED)
    elif mode == BY_RELEASE or (mode == BY_OBJECT and waits_for == M[k + ACTIVATION]):
        end_job(M, t, COMPLETE)
    elif mode == BY_QUEUE and waits_for == M[k + ACTIVATION]:
        if head_flag(M, t, RECEIVED):
            end_job(M, t, COMPLETE)
        elif head_flag(M, t, PROVISIONAL):
            end_job(M, t, DISCARDED)


def on_activate_of_job(M: Memory, t: int, resumed: bool, implied: bool) -> None:
    """Each activation begins a job; without `activation=activate` only a start-up, perhaps.

    `implied`: the task starts, so it was activated, but when is not known.
    """
    k = task_row(M, t)
    mode = M[k + MODE]
    if mode == BY_ACTIVATE:
        begin_job(M, t, M[NOW], EXCLUDED | UNDER_WAY if implied else 0)
    elif mode <= BY_QUEUE and not resumed:
        begin_job(M, t, M[NOW], STARTUP)


def on_terminate_of_job(M: Memory, t: int) -> None:
    """t ended by its own hand: its job is complete, whatever began it; a marked one is aborted."""
    k = task_row(M, t)
    if M[k + HEAD] < 0:
        return
    if M[k + MODE] == BY_MARKS:
        end_job(M, t, DISCARDED if head_flag(M, t, PROVISIONAL) else ABORTED)
    elif M[k + MODE] != BY_QUEUE or head_flag(M, t, RECEIVED | STARTUP):
        end_job(M, t, COMPLETE)


def on_arrive(M: Memory, t: int, by_itself: bool, number: int) -> None:
    """A job's begin, marked. Written by the task itself it counts from the kernel's release."""
    k = task_row(M, t)
    M[k + MARKED] = MARKS_SEEN
    release = M[k + FIRST_RELEASE] if by_itself and M[k + FIRST_RELEASE] >= 0 else M[NOW]
    M[k + FIRST_RELEASE] = NONE
    if head_flag(M, t, PROVISIONAL):
        if by_itself:
            r = job_row(M, M[k + HEAD])
            M[r + JOB_FLAGS] -= PROVISIONAL
            M[r + JOB_NUMBER] = number
            return
        end_job(M, t, DISCARDED)
    while head_flag(M, t, EXCLUDED):
        end_job(M, t, EXCLUDED_JOB)
    begin_job(M, t, release, 0, number)


def on_finish(M: Memory, t: int, number: int) -> None:
    """A job's end, marked. Jobs before the one with this number never finished: not judged."""
    k = task_row(M, t)
    marked = M[k + MARKED]
    M[k + MARKED] = MARKS_SEEN
    M[k + FIRST_RELEASE] = NONE
    if M[k + HEAD] < 0 or head_flag(M, t, PROVISIONAL):
        if M[k + HEAD] >= 0:
            end_job(M, t, DISCARDED)
        if marked == NO_MARKS:
            begin_job(M, t, M[NOW], EXCLUDED | UNDER_WAY, number)
            end_job(M, t, EXCLUDED_JOB)
        elif marked == MARKS_SEEN:
            emit_unused(M, _UNUSED_FINISH, M[EVENT_ROW])
        return
    if number >= 0 and in_line(M, t, number):
        while M[job_row(M, M[k + HEAD]) + JOB_NUMBER] != number:
            end_job(M, t, EXCLUDED_JOB)
    end_job(M, t, COMPLETE)


def on_start_again(M: Memory, t: int) -> None:
    """t runs and is started again: past its next nominal release a late job ended here, and the
    next, already due, began."""
    k = task_row(M, t)
    period = M[k + PERIOD]
    if period <= 0 or M[k + MODE] > BY_OBJECT or M[k + HEAD] < 0:
        return
    r = job_row(M, M[k + HEAD])
    if M[r + JOB_FLAGS] & (EXCLUDED | STARTUP):
        return  # which job it is cannot be told
    if M[r + JOB_NOMINAL] == FAR:
        if M[NOW] > M[r + JOB_RELEASE]:
            M[SPLIT_CANDIDATES] += 1
        return
    following = M[r + JOB_NOMINAL] + period
    if M[NOW] > following:
        M[r + JOB_FLAGS] |= INFERRED
        end_job(M, t, COMPLETE)
        j = begin_job(M, t, following, INFERRED | SPLIT)
        M[job_row(M, j) + JOB_NOMINAL] = following


def drop_startup(M: Memory, t: int) -> None:
    """t has a job of its own: what it did since its activation was its start-up."""
    if head_flag(M, t, STARTUP):
        end_job(M, t, DISCARDED)


def on_send_of_job(M: Memory, t: int, in_order: bool) -> None:
    """An item for t, the only consumer of its queue, was put in: a job begins."""
    drop_startup(M, t)
    begin_job(M, t, M[NOW], 0 if in_order else EXCLUDED)


def give_up_pending(M: Memory, t: int) -> None:
    """The queue of t is empty: jobs whose items were not seen to be taken cannot be judged."""
    while M[task_row(M, t) + HEAD] >= 0 and not head_flag(M, t, RECEIVED):
        end_job(M, t, EXCLUDED_JOB)


def on_receive_of_job(M: Memory, t: int, sent: int, in_order: bool) -> None:
    """t takes an item from its queue: the job of the item before ends, that of this one goes on.

    `sent` is when the item was put in, NONE if that was not seen; `in_order`: no older items of
    unknown number stood before it.
    """
    k = task_row(M, t)
    if head_flag(M, t, RECEIVED):
        end_job(M, t, COMPLETE)
    if takes_from_shared(M, t):
        take_shared(M, t, sent, in_order)
        return
    drop_startup(M, t)
    if M[k + HEAD] < 0:
        begin_job(M, t, M[NOW], EXCLUDED | RECEIVED | UNDER_WAY)
        return
    r = job_row(M, M[k + HEAD])
    M[r + JOB_FLAGS] |= RECEIVED
    if M[r + JOB_START] < 0 and M[k + STATE] == RUNNING:
        M[r + JOB_START] = M[NOW]


def take_shared(M: Memory, t: int, sent: int, in_order: bool) -> None:
    """Only now it is known that the item is t's, so its job began when the item was put in.

    What t did since its release, or its activation, was followed as a job on trial; that is cut
    to begin with the item, or lengthened by the time that t waited for it.
    """
    k = task_row(M, t)
    doubt = 0 if in_order else EXCLUDED
    if sent < 0:
        doubt = EXCLUDED | UNDER_WAY
        sent = M[NOW]
    if sent < M[k + UNSURE_UNTIL]:
        doubt |= CLOUDED
    if not head_flag(M, t, PROVISIONAL | STARTUP):
        begin_job(M, t, sent, RECEIVED | doubt)
        return
    r = job_row(M, M[k + HEAD])
    if sent < M[r + JOB_RELEASE]:
        waited = M[k + ACTIVATION] if head_flag(M, t, PROVISIONAL) else NONE
        emit_episode(M, M[r + JOB_ID], sent, M[r + JOB_RELEASE], E_SUSPENDED, NONE, waited)
    M[r + JOB_FLAGS] = RECEIVED | CLIPPED | doubt
    M[r + JOB_RELEASE] = sent
    if M[r + JOB_START] < 0 and M[k + STATE] == RUNNING:
        M[r + JOB_START] = M[NOW]


def abort_all(M: Memory, t: int) -> None:
    """No job of t will go on."""
    while M[task_row(M, t) + HEAD] >= 0:
        end_job(M, t, DISCARDED if head_flag(M, t, STARTUP | PROVISIONAL) else ABORTED)


def exclude_all(M: Memory, t: int) -> None:
    """Unknown time touches t: none of its jobs can be judged, and a start-up is forgotten."""
    k = task_row(M, t)
    while head_flag(M, t, PROVISIONAL | STARTUP):
        end_job(M, t, DISCARDED)
    if M[k + HEAD] < 0:
        return
    mark_line(M, t, EXCLUDED)
    r = job_row(M, M[k + HEAD])
    while M[r + JOB_NEXT] >= 0:
        j = M[r + JOB_NEXT]
        q = job_row(M, j)
        if M[q + JOB_FLAGS] & STARTUP:
            emit_job(M, t, j, DISCARDED, M[NOW])
            M[r + JOB_NEXT] = M[q + JOB_NEXT]
            give_job(M, j)
        else:
            r = q
    M[k + TAIL] = (r - M[JOBS]) // JOB_WIDTH


def give_up_all(M: Memory, t: int) -> None:
    """t was suspended, so none of its jobs goes on: the ends of those in line were not seen."""
    while M[task_row(M, t) + HEAD] >= 0:
        end_job(M, t, EXCLUDED_JOB)
