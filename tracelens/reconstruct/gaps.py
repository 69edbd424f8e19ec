"""What is not known: lost events, lost switches, the ends of a boot and of the log."""

from tracelens.reconstruct.arena import (
    ACCRUED,
    BY,
    CORE,
    E_UNKNOWN,
    ENTRY,
    EVENT_ROW,
    EXCLUDED_JOB,
    FIRST_RELEASE,
    FROM,
    HEAD,
    IS_LOCK,
    IS_QUEUE,
    KNOWN,
    LAST,
    LAST_OWN,
    LOOKS,
    LOST,
    MARKED,
    N_CORES,
    N_OBJECTS,
    N_TASKS,
    NO_REASON,
    NOBODY_KNOWS,
    NONE,
    NOW,
    OCCUPANT,
    OCCUPANT_SINCE,
    OPEN,
    OWNER,
    PENDING,
    R_CONTRADICTION,
    R_OVERRIDE,
    REASON,
    REMOTE_RELEASE,
    RUN,
    RUNNING,
    SINCE,
    SLEEPING,
    STATE,
    UNKNOWN,
    VIA,
    WAIT_OBJECT,
    WAITING,
    WANTED,
    WHO,
    Memory,
    core_row,
    object_row,
    task_row,
    touch_core,
)
from tracelens.reconstruct.cores import clear_handlers, clear_masks
from tracelens.reconstruct.emit import emit_occupant, emit_record, emit_state
from tracelens.reconstruct.inversions import end_push_through
from tracelens.reconstruct.jobs import exclude_all
from tracelens.reconstruct.line import end_line
from tracelens.reconstruct.locks import end_wait, forget_holds
from tracelens.reconstruct.queues import drop_items, forget_items
from tracelens.reconstruct.settle import accrue, close_episode, settle
from tracelens.reconstruct.tasks import runs_now, set_state, take_off


def blank_core(M: Memory, c: int, since: int) -> None:
    """Nobody knows who occupied core c from `since` to now."""
    k = core_row(M, c)
    if M[k + OCCUPANT_SINCE] > since:
        # Another core's records made this one idle or switching meanwhile: already written.
        emit_record(M, R_OVERRIDE, c, since, M[k + OCCUPANT_SINCE])
        since = M[k + OCCUPANT_SINCE]
    emit_occupant(M, c, M[k + OCCUPANT_SINCE], since, M[k + OCCUPANT], M[k + WHO])
    M[k + OCCUPANT] = NOBODY_KNOWS
    M[k + WHO] = NONE
    M[k + OCCUPANT_SINCE] = since
    M[k + ACCRUED] = M[NOW]
    touch_core(M, c)


def forget_task(M: Memory, t: int, since: int) -> None:
    """The state of t is not known from `since`, or from its own last event if that is later."""
    k = task_row(M, t)
    at = since
    if M[k + LAST_OWN] > at:
        at = M[k + LAST_OWN]
    if M[k + SINCE] > at:
        at = M[k + SINCE]
    close_episode(M, t, at)
    end_push_through(M, t, at)
    end_wait(M, t, at, 0)
    M[k + WANTED] = NONE
    M[k + REMOTE_RELEASE] = NONE
    M[k + PENDING] = 0
    M[k + MARKED] = 0
    M[k + FIRST_RELEASE] = NONE
    core = M[k + CORE]
    if M[k + STATE] == RUNNING and core >= 0 and M[core_row(M, core) + RUN] == t:
        take_off(M, t)
        M[core_row(M, core) + KNOWN] = 0
        blank_core(M, core, at)
    if M[k + STATE] != UNKNOWN:
        set_state(M, t, UNKNOWN, at, NONE, NONE)
    blank_ledger(M, t, at)
    exclude_all(M, t)


def blank_ledger(M: Memory, t: int, since: int) -> None:
    """Where the time of t went is not known from `since` to now."""
    k = task_row(M, t)
    close_episode(M, t, since)
    if M[k + HEAD] >= 0:
        M[k + ENTRY] = E_UNKNOWN
        M[k + BY] = NONE
        M[k + VIA] = NONE
        M[k + REASON] = NO_REASON


def blank_readers(M: Memory, c: int, since: int) -> None:
    """Ready tasks that look at core c: their time since then is unknown too."""
    for t in range(M[N_TASKS]):
        k = task_row(M, t)
        if M[k + HEAD] >= 0 and M[k + STATE] != UNKNOWN and M[k + LOOKS] == c:
            blank_ledger(M, t, since)


def forget_shared(M: Memory, since: int) -> None:
    """Nobody knows who holds which lock, nor what is in the queues."""
    for o in range(M[N_OBJECTS]):
        if M[object_row(M, o) + IS_QUEUE] == 1:
            forget_items(M, o, since)
    for t in range(M[N_TASKS]):
        forget_holds(M, t, since)
    for o in range(M[N_OBJECTS]):
        r = object_row(M, o)
        if M[r + IS_LOCK] == 1:
            M[r + OWNER] = NONE
            M[r + FROM] = NONE


def forget_core(M: Memory, c: int) -> None:
    """Nobody knows what core c did since its last record, nor what it does until its next start."""
    k = core_row(M, c)
    since = M[k + LAST]
    blank_core(M, c, since)
    clear_handlers(M, c, since)
    clear_masks(M, c, since)
    M[k + SLEEPING] = 0
    M[k + RUN] = NONE
    M[k + KNOWN] = 0


def on_lost(M: Memory, c: int, count: int) -> None:
    """Events of core c are missing between its last record and here."""
    M[LOST] += count
    since = M[core_row(M, c) + LAST]
    for t in range(M[N_TASKS]):
        r = task_row(M, t)
        elsewhere = (
            M[r + STATE] == RUNNING
            and M[r + CORE] != c
            and M[core_row(M, M[r + CORE]) + KNOWN] == 1
        )
        if elsewhere:
            end_wait(M, t, M[NOW], 0)
        elif M[r + STATE] != UNKNOWN:
            forget_task(M, t, since)
    forget_shared(M, since)
    forget_core(M, c)


def on_restart(M: Memory) -> None:
    """The target restarts here: like a gap on every core."""
    earliest = M[NOW]
    for c in range(M[N_CORES]):
        earliest = min(earliest, M[core_row(M, c) + LAST])
    for t in range(M[N_TASKS]):
        r = task_row(M, t)
        running = M[r + STATE] == RUNNING and M[r + CORE] >= 0
        since = M[core_row(M, M[r + CORE]) + LAST] if running else earliest
        if M[r + STATE] != UNKNOWN:
            forget_task(M, t, since)
    forget_shared(M, earliest)
    for c in range(M[N_CORES]):
        forget_core(M, c)


def on_contradiction(M: Memory, c: int, t: int) -> None:
    """t acts on core c, which was taken to run another: a switch between them was not recorded."""
    k = core_row(M, c)
    ran = M[k + RUN]
    since = M[k + LAST]
    emit_record(M, R_CONTRADICTION, M[EVENT_ROW], c, ran, t, since, M[NOW])
    if ran >= 0:
        forget_task(M, ran, since)
    blank_readers(M, c, since)
    forget_task(M, t, since)
    blank_core(M, c, since)
    M[k + RUN] = NONE
    M[k + SLEEPING] = 0
    M[k + KNOWN] = 1
    runs_now(M, t, c)


def end_boot(M: Memory, last: int) -> None:
    """The log, or one boot of it, ends here. A boundary between boots behaves like a gap."""
    settle(M)
    for c in range(M[N_CORES]):
        accrue(M, c)
    if last == 0:
        on_restart(M)
        settle(M)
    now = M[NOW]
    for t in range(M[N_TASKS]):
        k = task_row(M, t)
        close_episode(M, t, now)
        end_push_through(M, t, now)
        end_wait(M, t, now, 0)
        end_line(M, t, OPEN if last == 1 else EXCLUDED_JOB)
        forget_holds(M, t, now)
        state = M[k + STATE]
        core = M[k + CORE] if state == RUNNING else NONE
        waits = M[k + WAIT_OBJECT] if state == WAITING else NONE
        emit_state(M, t, M[k + SINCE], now, state, core, waits)
        M[k + SINCE] = now
    for o in range(M[N_OBJECTS]):
        drop_items(M, o)
    for c in range(M[N_CORES]):
        clear_handlers(M, c, now)
        clear_masks(M, c, now)
        k = core_row(M, c)
        emit_occupant(M, c, M[k + OCCUPANT_SINCE], now, M[k + OCCUPANT], M[k + WHO])
        M[k + OCCUPANT_SINCE] = now
