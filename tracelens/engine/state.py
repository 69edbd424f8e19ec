"""What the machine is made of while it runs: tasks, cores, locks, queues, handlers, jobs.

Times are counter ticks. A *key* orders tasks: the smaller, the more urgent. Under fixed
priorities it comes from the priority, under earliest deadline first it is the absolute deadline.
"""

from collections import deque
from typing import Final

from tracelens.engine.listed import Listed
from tracelens.engine.work import Work
from tracelens.model.events import CODE

NEVER: Final = 1 << 62
"""A key less urgent than any other, and a time that does not come."""

# States of a task.
DORMANT: Final = 0  # has no job: waits for its activation, or is suspended
READY: Final = 1
RUNNING: Final = 2
BLOCKED: Final = 3  # waits for a lock
PAUSED: Final = 4  # waits for something that is not a lock, inside a job

# What begins a job.
BY_DELAY: Final = 0
BY_ACTIVATE: Final = 1
BY_QUEUE: Final = 2

# What a scripted task is at.
NOT_AWAITING: Final = 0
AT_UNTIL: Final = 1
AT_AWAIT: Final = 2
AT_END: Final = 3
AT_ITEM: Final = 4

# Lock protocols.
PLAIN: Final = 0
INHERIT: Final = 1
ORIGINAL: Final = 2
CEILING: Final = 3


class Instance:
    """One job."""

    __slots__ = (
        "deadline_key",
        "end",
        "inferred",
        "number",
        "opened",
        "release",
        "serial",
        "stack_use",
        "start",
        "task",
    )

    def __init__(self, serial: int, task: "TaskState", number: int, release: int) -> None:
        self.serial = serial
        self.task = task
        self.number = number
        self.release = release
        self.start = -1
        self.end = -1
        self.inferred = False
        self.opened = False  # its first phase was opened
        self.deadline_key = NEVER if task.deadline is None else release + task.deadline
        self.stack_use = 0


class TaskState:
    """One task at this moment."""

    __slots__ = (
        "activation",
        "announces",
        "arrivals",
        "awaits",
        "back_by",
        "base",
        "calls",
        "core",
        "deadline",
        "eff",
        "first_word",
        "held",
        "home",
        "index",
        "inherited",
        "job",
        "last_core",
        "left",
        "masked",
        "name",
        "ops",
        "pc",
        "pending",
        "phase",
        "queue",
        "receive_first",
        "released",
        "retrying",
        "scripted",
        "seq",
        "silent",
        "slice_left",
        "stack_free",
        "stack_size",
        "state",
        "waits",
        "wants",
        "word",
        "work",
    )

    def __init__(self, index: int, name: int, work: Work | Listed, base: int) -> None:
        self.index = index
        self.name = name  # index in the table of names
        self.work = work
        self.base = self.eff = self.inherited = base
        self.deadline: int | None = None
        self.activation = BY_ACTIVATE
        self.queue: QueueState | None = None
        self.core = -1  # the core it is pinned to; -1: free to migrate
        self.home = 0  # where its releases by time are recorded
        self.last_core = -1
        self.state = DORMANT
        self.job: Instance | None = None
        self.released = 0  # jobs released so far
        self.arrivals = 0  # releases by time put into the heap so far
        self.pending: deque[Instance] = deque()  # released, and not begun
        self.receive_first: tuple[tuple[int, int, int], ...] = ()
        self.ops: tuple[tuple[int, int, int], ...] = ()
        self.pc = 0
        self.left = 0  # of the present step, as of the last time its core was paused
        self.seq = 0
        self.slice_left = 0
        self.held: list[LockState] = []  # in order of taking, oldest first
        self.waits: LockState | None = None  # the lock it waits for
        self.wants: LockState | None = None  # the lock it asked for
        self.retrying = False
        self.word = -1  # what it waits for, in the table of names
        self.stack_size = 0
        self.stack_free = 0
        self.phase: Phase | None = None
        self.announces = False  # it waits for its first release from time 0 on, and says so
        # Of recorded scripts:
        self.scripted = False
        self.first_word = -1  # what it waits for at first
        self.awaits = 0  # NOT_AWAITING, AT_UNTIL, AT_AWAIT, AT_END or AT_ITEM
        self.calls: deque[int] = deque()  # releases or activations that came before their wait
        self.silent = False  # its first activation stands in no log
        self.back_by = CODE["release"]  # the event with which it comes back from a wait
        self.masked = False  # it has locked the scheduler


class Phase:
    """A stretch of one job whose ledger is written when it ends. See `truth`."""

    __slots__ = ("base", "chain_core", "end_task", "job", "kind", "lock", "mode", "start", "word")

    def __init__(self, start: int, kind: int, job: Instance, base: int) -> None:
        self.start = start
        self.kind = kind
        self.job = job
        self.base = base
        self.word = -1
        self.lock: LockState | None = None
        self.mode = -1
        self.end_task: TaskState | None = None
        self.chain_core = -1


class LockState:
    """One lock at this moment."""

    __slots__ = ("ceiling", "depth", "index", "last_owner", "name", "owner", "protocol", "waiters")

    def __init__(self, index: int, name: int, protocol: int, ceiling: int) -> None:
        self.index = index
        self.name = name
        self.protocol = protocol
        self.ceiling = ceiling  # as a key
        self.owner: TaskState | None = None
        self.last_owner: TaskState | None = None
        self.depth = 0
        self.waiters: list[TaskState] = []

    def raises_to(self) -> int:
        """The key to which this lock raises its owner; NEVER if it raises nobody."""
        if self.protocol == CEILING:
            return self.ceiling
        if self.protocol == PLAIN:
            return NEVER
        return min((waiter.eff for waiter in self.waiters), default=NEVER)


class QueueState:
    """One queue at this moment."""

    __slots__ = (
        "consumer",
        "count",
        "depth",
        "dropped",
        "drops",
        "name",
        "receivers",
        "senders",
        "sent",
    )

    def __init__(self, name: int, depth: int | None, drops: bool) -> None:
        self.name = name
        self.depth = NEVER if depth is None else depth
        self.drops = drops
        self.dropped = 0
        self.count = 0
        self.consumer: TaskState | None = None
        self.receivers: list[TaskState] = []
        self.senders: list[TaskState] = []
        self.sent: deque[int] = deque()  # when its items were; only where deadlines rank


class HandlerState:
    """One interrupt handler: at most one request of it is remembered, as hardware does."""

    __slots__ = (
        "core",
        "entered",
        "entered_for",
        "index",
        "key",
        "left",
        "lost",
        "name",
        "ops",
        "own",
        "pc",
        "pend_at",
        "requests",
        "rotates",
        "runs",
        "tells",
        "waiting",
        "work",
    )

    def __init__(self, index: int, name: int, work: Work | Listed, key: int, core: int) -> None:
        self.index = index
        self.name = name
        self.work = work
        self.key = key
        self.core = core
        self.tells = False  # whether the hardware tells of requests (event `pend`)
        self.rotates = False  # at its end, of equally urgent tasks the next one gets the core
        self.waiting = False
        self.lost = 0
        self.requests = 0  # put into the heap so far
        self.runs = 0  # entered so far
        self.own = 0  # own time of this run
        self.pend_at = -1  # the latest request that was not lost
        self.entered = -1
        self.entered_for = -1  # the request that the present run answers
        self.ops: tuple[tuple[int, int, int], ...] = ()
        self.pc = 0
        self.left = 0


class CoreState:
    """One core at this moment.

    `cur` is the task it runs, or is switching to (`started` False). With nobody, it is idle
    (`idle_on`), or switching to idle.
    """

    __slots__ = (
        "asleep",
        "boundary",
        "cur",
        "deferred",
        "idle_name",
        "idle_on",
        "index",
        "left",
        "nest",
        "opens_after",
        "requested",
        "since",
        "started",
        "switch_left",
        "switching",
        "version",
    )

    def __init__(self, index: int, idle_name: int) -> None:
        self.index = index
        self.idle_name = idle_name  # -1: the set has no idle tasks
        self.cur: TaskState | None = None
        self.started = False
        self.idle_on = False
        self.switching = False
        self.switch_left = 0
        self.nest: list[HandlerState] = []
        self.requested: list[HandlerState] = []
        self.asleep = 0  # 1: asleep, 2: on its way back
        self.deferred: list[tuple[int, int]] = []  # what came while it slept
        self.since = 0
        self.version = 0
        self.left = 0  # how the latest task to leave it did: see `core_time`
        self.opens_after = 0  # so much later its tasks run at first
        self.boundary = -1  # time of the last job boundary, where even a non-preemptive core yields
