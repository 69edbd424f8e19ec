"""The machine's memory: one flat array of 64-bit integers, and the names of its places.

The pass over the events is a state machine. All of its state, and the rows it has written but
nobody has collected yet, live in one array M of int64, so that a function takes one argument,
the whole state can be handed back and forth between parts of a log, and the same source runs
compiled (M is a numpy array) or as plain Python (M is a list). A *row* is an offset into M; a
field is a constant to add to it:

    k = task_row(M, t)
    if M[k + STATE] == READY: ...

The header comes first, then regions of rows of equal width: tasks, cores, interrupt handlers,
objects (locks, queues, and words such as 'delay'), the stack of handlers of each core, the list
of tasks to watch, holder chains, three pools (open jobs, holds, queued items), five buffers of
finished rows. Links between rows are indices, never offsets, so a region can grow.
"""

from typing import Final

from tracelens.compiled import Memory as Memory

NONE: Final = -1
NO_PRIORITY: Final = -(1 << 62)
FAR: Final = 1 << 62

# ------------------------------------------------------------------------------------- header
(
    NOW,
    DIRTY,
    STAMP,
    N_TASKS,
    N_CORES,
    N_ISRS,
    N_OBJECTS,
    N_ACTIVE,
    POLICY,
    LATE,
    NEXT_JOB,
    NEXT_WAIT,
    NEXT_INVERSION,
    NEXT_DEADLOCK,
    SPLIT_CANDIDATES,
    LOST,
    EVENT_ROW,
    MARGIN,
    AT_ONCE,
    WORK,
    MOST_WORK,
    BOOT_START,
    TASKS,
    CORES,
    ISRS,
    OBJECTS,
    STACKS,
    ACTIVE,
    CHAINS,
    JOBS,
    JOBS_FREE,
    JOBS_LEFT,
    HOLDS,
    HOLDS_FREE,
    HOLDS_LEFT,
    ITEMS,
    ITEMS_FREE,
    ITEMS_LEFT,
    STATE_ROWS,
    STATE_SPARE,
    STATE_USED,
    STATE_CAP,
    OCCUPANT_ROWS,
    OCCUPANT_SPARE,
    OCCUPANT_USED,
    OCCUPANT_CAP,
    EPISODE_ROWS,
    EPISODE_SPARE,
    EPISODE_USED,
    EPISODE_CAP,
    JOB_ROWS,
    JOB_SPARE,
    JOB_USED,
    JOB_CAP,
    RECORD_ROWS,
    RECORD_SPARE,
    RECORD_USED,
    RECORD_CAP,
    HEADER,
) = range(59)

FIXED, EDF, ROUND_ROBIN = range(3)

# -------------------------------------------------------------------------------------- tasks
UNKNOWN, SUSPENDED, READY, RUNNING, WAITING = range(5)
BY_RELEASE, BY_OBJECT, BY_QUEUE, BY_ACTIVATE, BY_MARKS, NO_JOBS = range(6)
"""What begins a task's jobs: any release, the release from one object, an item, …"""
NO_MARKS, MARKS_SEEN, GIVEN_UP = range(3)
"""Of a task with marked jobs: none seen yet, some, or the one under way was given up."""
NOT_WAITING, WAITS, SPINS = range(3)
(
    STATE,
    SINCE,
    CORE,  # where it runs, or last ran
    LOOK,  # the core of its next start record
    READY_ON,  # the core at which it waits to run; NONE unless ready
    HOME,  # its declared core
    RELEASE_CORE,
    LAST_OWN,  # time of its own last event
    WAIT_OBJECT,
    BASE,
    EFFECTIVE,
    HELD,  # most recent hold
    LOCK,  # the lock it waits for now
    HOW,
    WANTED,  # the lock it requested
    MODE,
    ACTIVATION,
    PERIOD,
    OFFSET,
    SLACK,  # how far before a grid point a release may lie and still belong to it
    DEADLINE,
    IDLE,
    HEAD,
    TAIL,
    PENDING,
    RAN,
    REMOTE_RELEASE,
    KILLED,
    UNSURE_UNTIL,  # end of the last time that was unknown while it had a job
    MARKED,
    FIRST_RELEASE,  # of a task with marked jobs, since its last mark; NONE
    ENTRY,
    BY,
    VIA,
    REASON,
    ENTRY_SINCE,
    LOOKS,
    TOUCHED,
    ACTIVE_AT,
    SEEN,
    WAIT_ID,
    WAIT_SINCE,
    WAIT_OWNER,
    INVERSION_KIND,
    LOWER,
    RAISED,
    CHAIN_LENGTH,
    HOLDER_NS,
    THIRD_NS,
    PUSH_BY,
    PUSH_LOCK,
    PUSH_SINCE,
    PUSH_NS,
    PUSH_ID,
    HELD_BACK,  # job of the episode that is not written yet, for it may grow; NONE
    BACK_START,
    BACK_END,
    BACK_ENTRY,
    BACK_BY,
    BACK_VIA,
    TASK_WIDTH,
) = range(61)
MAX_CHAIN: Final = 32
BATCH: Final = 16
"""The most events between two looks whether there is room for what they may write; AT_ONCE says
how many they are here."""

# -------------------------------------------------------------------------------------- cores
IN_ISR, ASLEEP, BY_TASK, SWITCHING, IDLING, NOBODY_KNOWS = range(6)
(
    RUN,
    KNOWN,
    SLEEPING,
    DEPTH,
    READY_COUNT,
    HAS_IDLE,
    LAST,  # time of this core's last record
    ACCRUED,  # execution is counted up to here
    CORE_TOUCHED,
    OCCUPANT,
    WHO,
    OCCUPANT_SINCE,
    IRQ_MASKS,
    IRQ_SINCE,
    IRQ_WHO,
    SCHED_MASKS,
    SCHED_SINCE,
    SCHED_WHO,
    CORE_WIDTH,
) = range(19)

MAX_DEPTH: Final = 32
STACK_ISR, STACK_SINCE, STACK_OWN, STACK_UNCLOSED, STACK_WHOLE, STACK_PEND, STACK_WIDTH = range(7)

PENDED, ISR_WIDTH = range(2)

# ------------------------------------------------------------------------------------ objects
(
    IS_LOCK,
    OWNER,
    FROM,  # who gave it back last, while nobody owns it
    FREED,  # when that was
    SEEN_AT,  # time of its own last event
    CEILING,
    IS_QUEUE,
    LEVEL_KNOWN,
    LEVEL,
    FIRST_ITEM,
    LAST_ITEM,
    CONSUMER,  # the one task whose jobs its items begin
    OBJECT_WIDTH,
) = range(13)
SHARED: Final = -2
"""CONSUMER of a queue from which several tasks take items."""

# -------------------------------------------------------------------------------------- pools
(
    JOB_ID,
    JOB_RELEASE,
    JOB_START,
    JOB_RAN,
    JOB_NOMINAL,
    JOB_FLAGS,
    JOB_EVENT,
    JOB_NUMBER,
    JOB_NEXT,
    JOB_WIDTH,
) = range(10)
EXCLUDED, STARTUP, INFERRED, PROVISIONAL = 1, 2, 4, 8
RECEIVED, UNDER_WAY, CLIPPED, SPLIT = 16, 32, 64, 128
CLOUDED = 256
"""EXCLUDED: which job it is is in doubt; CLOUDED: it is known, but not where its time went."""

(
    HOLD_LOCK,
    HOLD_TASK,
    HOLD_SINCE,
    HOLD_DEPTH,
    HOLD_RAN,
    HOLD_OVERTAKEN,  # when another took the lock, though it was not given back; NONE
    HOLD_OWN,  # its own execution until then
    HOLD_RAISED,  # 1: it was held when the present priority was set
    HOLD_NEXT,
    HOLD_WIDTH,
) = range(10)

ITEM_SENT, ITEM_NEXT, ITEM_WIDTH = range(3)

# ----------------------------------------------------------------------------------- out rows
STATE_WIDTH: Final = 3  # start, end, code
OCCUPANT_WIDTH: Final = 3  # start, end, code
EPISODE_WIDTH: Final = 4  # job id, start, end, code
CORE_BITS: Final = 9
STATE_BITS: Final = 3
NAME_BITS: Final = 24
"""Widths of the fields in a code, lowest first: what is waited for, state, core, task; who,
occupant, core; via, by, entry. Those that may be NONE are kept plus one."""
JOB_OUT_WIDTH: Final = 10
RECORD_WIDTH: Final = 12  # kind, then fields by kind

COMPLETE, OPEN, EXCLUDED_JOB, ABORTED, DISCARDED = range(5)

(
    R_HOLD,
    R_WAIT,
    R_INVERSION,
    R_LINK,
    R_THIRD,
    R_DEADLOCK,
    R_ISR,
    R_LEVEL,
    R_ITEM,
    R_MASK,
    R_CONTRADICTION,
    R_REPAIR,
    R_UNUSED,
    R_OVERRIDE,
) = range(14)

(
    E_UNKNOWN,
    E_BACKLOG,
    E_SUSPENDED,
    E_ISR,
    E_ASLEEP,
    E_EXECUTION,
    E_BLOCKED,
    E_INTERFERENCE,
    E_INVERSION,
    E_DEFERRED,
    E_UNRANKED,
    E_SWITCHING,
) = range(12)

NO_REASON, HOLDER_RUNS, PUSHED = range(3)


# ---------------------------------------------------------------------------------- accessors


MOST_CORES: Final = 256
CORES_AT: Final = HEADER
TASKS_AT: Final = CORES_AT + MOST_CORES * CORE_WIDTH
"""The rows of cores and tasks, which nearly every step asks for, are where they always are."""


def task_row(M: Memory, t: int) -> int:
    """The row of task t."""
    return TASKS_AT + t * TASK_WIDTH


def core_row(M: Memory, c: int) -> int:
    """The row of core c."""
    return CORES_AT + c * CORE_WIDTH


def object_row(M: Memory, o: int) -> int:
    """The row of a lock, a queue or a word."""
    return M[OBJECTS] + o * OBJECT_WIDTH


def job_row(M: Memory, j: int) -> int:
    """The row of an open job."""
    return M[JOBS] + j * JOB_WIDTH


def hold_row(M: Memory, h: int) -> int:
    """The row of a hold."""
    return M[HOLDS] + h * HOLD_WIDTH


def item_row(M: Memory, i: int) -> int:
    """The row of a queued item."""
    return M[ITEMS] + i * ITEM_WIDTH


def stack_row(M: Memory, c: int, depth: int) -> int:
    """The row of the handler that is `depth` deep on the stack of core c."""
    return M[STACKS] + (c * MAX_DEPTH + depth) * STACK_WIDTH


def touch_task(M: Memory, t: int) -> None:
    """Look at this task again before time moves on."""
    M[TASKS_AT + t * TASK_WIDTH + TOUCHED] = 1
    M[DIRTY] = 1


def touch_core(M: Memory, c: int) -> None:
    """Look at this core, and at all that look at it, before time moves on."""
    M[CORES_AT + c * CORE_WIDTH + CORE_TOUCHED] = 1
    M[DIRTY] = 1
