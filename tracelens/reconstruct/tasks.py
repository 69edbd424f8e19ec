"""The transitions of the task model, and what the kernel leaves out when it writes them down."""

from tracelens.reconstruct.arena import (
    BASE,
    BY_ACTIVATE,
    CORE,
    EFFECTIVE,
    EVENT_ROW,
    HEAD,
    HELD,
    HOLD_NEXT,
    HOLD_OVERTAKEN,
    HOLD_RAISED,
    HOME,
    IDLE,
    IS_LOCK,
    IS_QUEUE,
    JOB_START,
    KILLED,
    KNOWN,
    LATE,
    LOCK,
    LOOK,
    MODE,
    NONE,
    NOW,
    OWNER,
    PENDING,
    READY,
    READY_COUNT,
    READY_ON,
    RELEASE_CORE,
    REMOTE_RELEASE,
    RUN,
    RUNNING,
    SINCE,
    STATE,
    SUSPENDED,
    UNKNOWN,
    WAIT_OBJECT,
    WAITING,
    WAITS,
    WANTED,
    Memory,
    core_row,
    hold_row,
    job_row,
    object_row,
    task_row,
    touch_core,
    touch_task,
)
from tracelens.reconstruct.cores import end_sleep, end_unclosed
from tracelens.reconstruct.emit import emit_repair, emit_state, emit_unused
from tracelens.reconstruct.jobs import (
    abort_all,
    give_up_all,
    on_activate_of_job,
    on_release_of_job,
    on_start_again,
    on_terminate_of_job,
    on_wait_of_job,
    seen_running,
)
from tracelens.reconstruct.locks import begin_wait, end_wait
from tracelens.reconstruct.queues import proven_empty
from tracelens.reconstruct.settle import accrue, watch

_REPAIR_MOVED = 2
_UNUSED_RELEASE = 3


def set_state(M: Memory, t: int, state: int, at: int, core: int, waits: int) -> None:
    """Move t into a state from `at` on; `core` while it runs or is ready there, else NONE."""
    k = task_row(M, t)
    old = M[k + STATE]
    if old == state and state != READY and M[k + WAIT_OBJECT] == waits:
        if state != RUNNING or M[k + CORE] == core:
            return
    ran_on = M[k + CORE] if old == RUNNING else NONE
    emit_state(M, t, M[k + SINCE], at, old, ran_on, M[k + WAIT_OBJECT] if old == WAITING else NONE)
    if at > M[k + SINCE]:
        M[k + SINCE] = at
    if old == READY and M[k + READY_ON] >= 0:
        M[core_row(M, M[k + READY_ON]) + READY_COUNT] -= 1
        touch_core(M, M[k + READY_ON])
        M[k + READY_ON] = NONE
    M[k + STATE] = state
    M[k + WAIT_OBJECT] = waits
    if state == RUNNING:
        M[k + CORE] = core
    elif state == READY:
        M[k + READY_ON] = core
        if core >= 0:
            M[core_row(M, core) + READY_COUNT] += 1
            touch_core(M, core)
    watch(M, t)
    touch_task(M, t)


def make_ready(M: Memory, t: int) -> None:
    """Ready now: there, where it next starts; else where it last ran, belongs, or was released."""
    k = task_row(M, t)
    core = M[k + LOOK]
    if core < 0:
        core = M[k + CORE]
    if core < 0:
        core = M[k + HOME]
    if core < 0:
        core = M[k + RELEASE_CORE]
    set_state(M, t, READY, M[NOW], core, NONE)


def take_off(M: Memory, t: int) -> None:
    """t, which runs, no longer has its core."""
    core = M[task_row(M, t) + CORE]
    if core >= 0 and M[core_row(M, core) + RUN] == t:
        M[core_row(M, core) + RUN] = NONE
        touch_core(M, core)


def runs_now(M: Memory, t: int, c: int) -> None:
    """t has core c from now on; whoever ran there is off it and ready."""
    k = task_row(M, t)
    r = core_row(M, c)
    other = M[r + RUN]
    if other >= 0 and other != t:
        M[r + RUN] = NONE
        make_ready(M, other)
    if M[k + STATE] == RUNNING and M[k + CORE] != c and M[k + CORE] >= 0:
        left = core_row(M, M[k + CORE])
        accrue(M, M[k + CORE])
        if M[left + RUN] == t:
            M[left + RUN] = NONE
            M[left + KNOWN] = 0
            touch_core(M, M[k + CORE])
            emit_repair(M, _REPAIR_MOVED, M[EVENT_ROW])
    was_unknown = M[k + STATE] == UNKNOWN
    M[r + RUN] = t
    set_state(M, t, RUNNING, M[NOW], c, NONE)
    if was_unknown and M[k + IDLE] == 0:
        seen_running(M, t)
    if M[k + HEAD] >= 0:
        j = job_row(M, M[k + HEAD])
        if M[j + JOB_START] < 0:
            M[j + JOB_START] = M[NOW]
    touch_core(M, c)


def on_start(M: Memory, t: int, c: int, next_core: int) -> None:
    """ready → running. A waiting task that starts was released, a suspended one activated."""
    k = task_row(M, t)
    r = core_row(M, c)
    end_unclosed(M, c)
    end_sleep(M, c)
    if M[r + KNOWN] == 0:
        M[r + KNOWN] = 1
        touch_core(M, c)
    M[k + RELEASE_CORE] = c
    if M[r + RUN] == t and M[k + STATE] == RUNNING:
        on_start_again(M, t)
    else:
        M[k + LOOK] = c
        if M[k + STATE] == WAITING:
            wake(M, t, True)
        elif M[k + STATE] == SUSPENDED:
            on_activate(M, t, c, True)
        runs_now(M, t, c)
    M[k + LOOK] = next_core
    M[k + REMOTE_RELEASE] = NONE


def on_preempt(M: Memory, t: int) -> None:
    """running → ready; the start of another task implies it."""
    if M[task_row(M, t) + STATE] == RUNNING:
        take_off(M, t)
        make_ready(M, t)


def on_wait(M: Memory, t: int, waits_for: int, c: int) -> None:
    """running → waiting, for a lock, an item, a time or a word; or for something not said."""
    k = task_row(M, t)
    take_off(M, t)
    if M[k + LOCK] >= 0:
        end_wait(M, t, M[NOW], 0)
    is_lock = waits_for >= 0 and M[object_row(M, waits_for) + IS_LOCK] == 1
    set_state(M, t, WAITING, M[NOW], NONE, waits_for)
    if is_lock:
        begin_wait(M, t, waits_for, WAITS)
    else:
        M[k + WANTED] = NONE
        on_wait_of_job(M, t, waits_for)
        if waits_for >= 0 and M[object_row(M, waits_for) + IS_QUEUE] == 1:
            proven_empty(M, waits_for)
    released = M[k + REMOTE_RELEASE]
    M[k + REMOTE_RELEASE] = NONE
    if released >= 0 and M[NOW] - released <= M[LATE]:
        M[k + RELEASE_CORE] = c
        wake(M, t, False)


def wake(M: Memory, t: int, implied: bool) -> None:
    """The wait of t ends now. Of a lock that another owns it gave up, or was overtaken."""
    k = task_row(M, t)
    waited_for = M[k + WAIT_OBJECT]
    was_lock = M[k + LOCK] >= 0
    if was_lock:
        owner = M[object_row(M, M[k + LOCK]) + OWNER]
        free = owner < 0 or owner == t
        end_wait(M, t, M[NOW], 1 if free else 0)
        if not free:
            M[k + WANTED] = NONE
    else:
        lock_word = waited_for >= 0 and M[object_row(M, waited_for) + IS_LOCK] == 1
        on_release_of_job(M, t, waited_for, True, lock_word, implied)
    make_ready(M, t)


def on_release(M: Memory, t: int, c: int) -> None:
    """waiting → ready. Of a task that is ready or runs it says nothing, except across cores,
    where it may be written just before the wait that it ends."""
    k = task_row(M, t)
    M[k + RELEASE_CORE] = c
    state = M[k + STATE]
    if state == WAITING:
        wake(M, t, False)
    elif state == UNKNOWN:
        on_release_of_job(M, t, NONE, False, False, False)
        make_ready(M, t)
    elif state == RUNNING and c != M[k + CORE]:
        M[k + REMOTE_RELEASE] = M[NOW]
    elif state == SUSPENDED:
        emit_unused(M, _UNUSED_RELEASE, M[EVENT_ROW])


def on_activate(M: Memory, t: int, c: int, implied: bool) -> None:
    """suspended → ready; of a task that is active already it counts for later."""
    k = task_row(M, t)
    M[k + RELEASE_CORE] = c
    state = M[k + STATE]
    resumed = M[k + KILLED] == 1
    M[k + KILLED] = 0
    if not resumed and (state == SUSPENDED or state == UNKNOWN):
        give_up_all(M, t)
    if M[k + IDLE] == 0:
        on_activate_of_job(M, t, resumed and M[k + MODE] != BY_ACTIVATE, implied)
    if state == SUSPENDED or state == UNKNOWN:
        make_ready(M, t)
    else:
        M[k + PENDING] += 1


def on_terminate(M: Memory, t: int) -> None:
    """→ suspended, by its own end; with activations pending it is ready again at once."""
    k = task_row(M, t)
    take_off(M, t)
    end_wait(M, t, M[NOW], 0)
    M[k + WANTED] = NONE
    M[k + REMOTE_RELEASE] = NONE
    if M[k + PENDING] > 0:
        M[k + PENDING] -= 1
        make_ready(M, t)
    else:
        set_state(M, t, SUSPENDED, M[NOW], NONE, NONE)
    on_terminate_of_job(M, t)


def on_suspend(M: Memory, t: int, comes_back: bool) -> None:
    """→ suspended, by another's hand: its job goes on only if it is resumed later."""
    k = task_row(M, t)
    if M[k + STATE] == RUNNING:
        accrue(M, M[k + CORE])
    take_off(M, t)
    end_wait(M, t, M[NOW], 0)
    M[k + WANTED] = NONE
    M[k + PENDING] = 0
    if M[k + MODE] == BY_ACTIVATE or not comes_back:
        abort_all(M, t)
    M[k + KILLED] = 1
    set_state(M, t, SUSPENDED, M[NOW], NONE, NONE)


def on_priority(M: Memory, t: int, priority: int) -> None:
    """While t holds a lock it is inheritance or a ceiling; otherwise a new base priority."""
    k = task_row(M, t)
    M[k + EFFECTIVE] = priority
    owns = False
    h = M[k + HELD]
    while h >= 0:
        r = hold_row(M, h)
        if M[r + HOLD_OVERTAKEN] < 0:
            owns = True
            M[r + HOLD_RAISED] = 1
        h = M[r + HOLD_NEXT]
    if not owns:
        M[k + BASE] = priority
    touch_task(M, t)
    core = M[k + CORE] if M[k + STATE] == RUNNING else M[k + READY_ON]
    if core >= 0:
        touch_core(M, core)
