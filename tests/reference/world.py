"""What the replay keeps: cores, tasks, locks, queues, each with its history."""

from dataclasses import dataclass, field

from tests.reference.history import History
from tests.reference.lines import Lock as DeclaredLock
from tests.reference.lines import Queue as DeclaredQueue
from tests.reference.lines import Task as DeclaredTask

UNKNOWN = "?"  # who runs on a core, when that is not known
READY, RUNNING, WAITING, SUSPENDED, STATE_UNKNOWN = (
    "ready",
    "running",
    "waiting",
    "suspended",
    "unknown",
)


@dataclass(frozen=True)
class TaskState:
    """`core` only while running, `waits_for` only while waiting (None: not said)."""

    state: str
    core: int | None = None
    waits_for: str | None = None


NOT_KNOWN = TaskState(STATE_UNKNOWN)


@dataclass(eq=False)
class IsrRun:
    isr: str
    core: int
    start: int
    line: int
    pend: int | None
    ends_at_start: bool  # it has no leave of its own: the first `start` ends it
    end: int | None = None
    complete: bool = True


@dataclass(eq=False)
class LockWait:
    """A wait of `task` for `lock`; under the original ceiling `wanted` is another, free lock."""

    task: str
    lock: str
    wanted: str
    start: int
    spun: bool
    refused: bool  # it asked for a free lock and was made to wait for another
    owner: str | None
    end: int | None = None
    got: bool = False
    line: int = 0


@dataclass(eq=False)
class Hold:
    lock: str
    task: str  # '-' if it was taken outside any task
    start: int
    depth: int = 1
    end: int | None = None
    complete: bool = True
    overtaken_at: int | None = None  # another's `lock` came before this one's `unlock`


@dataclass(eq=False)
class Item:
    queue: str
    sent: int
    line: int
    doubtful: bool  # sent while the number of items was not known
    received: int | None = None


@dataclass(frozen=True)
class Ownership:
    """Who owns a lock; if nobody, who gave it back (None: not known, '-': outside any task)."""

    owner: str | None = None
    given_back_by: str | None = None


@dataclass(frozen=True)
class Raise:
    """An effective priority told by an event, and the locks that the task held at that moment."""

    level: int
    held: tuple[str, ...]


@dataclass
class Happening:
    """One thing in the life of a task that may begin or end a job."""

    time: int
    line: int
    kind: str
    what: str | None = None  # what it waits for, or waited for; of a mark, the job's number
    is_lock: bool = False
    seen: bool = True  # of a release: its wait was seen; of an activation: it was recorded
    was_unknown: bool = False
    queued: bool = False  # of an activation: an earlier one has not terminated
    implied: bool = False  # of a release: not written, but a start shows it
    own: bool = False  # of an arrive: written by the task itself
    comes_back: bool = False  # of a suspend
    item: Item | None = None


@dataclass(eq=False)
class Core:
    id: int
    running: History[str | None] = field(default_factory=lambda: History(UNKNOWN))
    isr: History[IsrRun | None] = field(default_factory=lambda: History(None))
    asleep: History[bool] = field(default_factory=lambda: History(False))
    blackout: History[bool] = field(default_factory=lambda: History(False))
    masked: History[bool] = field(default_factory=lambda: History(False))
    isr_stack: list[IsrRun] = field(default_factory=list)
    masks: dict[str, list[tuple[int, str]]] = field(
        default_factory=lambda: {"irq": [], "sched": []}
    )
    last_record: int = 0


@dataclass(eq=False)
class Task:
    declared: DeclaredTask
    state: History[TaskState] = field(default_factory=lambda: History(NOT_KNOWN))
    base: History[int | None] = field(default_factory=lambda: History(None))
    raised: History[Raise | None] = field(default_factory=lambda: History(None))
    held: History[tuple[str, ...]] = field(default_factory=lambda: History(()))
    wait: History[LockWait | None] = field(default_factory=lambda: History(None))
    ran_on: list[tuple[int, int]] = field(default_factory=list)  # (time, core) of each beginning
    released_on: list[tuple[int, int]] = field(default_factory=list)
    story: list[Happening] = field(default_factory=list)
    last_seen: int = 0
    pending_activations: int = 0
    wants: str | None = None
    released_early: bool = False

    @property
    def name(self) -> str:
        return self.declared.name

    @property
    def idle(self) -> bool:
        return self.declared.idle

    @property
    def known_since(self) -> int:
        """The last moment at which anything was known of it, for a gap that begins earlier."""
        return max(self.last_seen, self.state.last_change)


@dataclass(eq=False)
class Lock:
    declared: DeclaredLock
    owner: History[Ownership] = field(default_factory=lambda: History(Ownership()))
    open_holds: dict[str, Hold] = field(default_factory=dict)
    last_seen: int = 0


@dataclass(eq=False)
class Queue:
    declared: DeclaredQueue
    items: list[Item] = field(default_factory=list)
    level: History[int | None] = field(default_factory=lambda: History(0))
    sends: int = 0
    receives: int = 0


@dataclass
class Contradiction:
    line: int
    core: int
    ran: str | None
    acted: str
    start: int
    end: int


@dataclass
class Deadlock:
    at: int
    tasks: list[str]
    locks: list[str]


@dataclass
class World:
    """Everything that the replay of a log leaves behind."""

    span: int
    boot_starts: list[int]
    times: list[int]  # every moment at which something happened, once each
    cores: dict[int, Core]
    tasks: dict[str, Task]
    locks: dict[str, Lock]
    queues: dict[str, Queue]
    higher_first: bool
    policy: str
    isr_runs: list[IsrRun] = field(default_factory=list)
    lock_waits: list[LockWait] = field(default_factory=list)
    holds: list[Hold] = field(default_factory=list)
    items: list[Item] = field(default_factory=list)  # received ones whose send is known
    masks: list[tuple[int, str, str, int, int]] = field(default_factory=list)
    contradictions: list[Contradiction] = field(default_factory=list)
    repairs: list[tuple[int, str]] = field(default_factory=list)
    deadlocks: list[Deadlock] = field(default_factory=list)
    lost_events: int = 0
    stack: dict[str, list[tuple[int, int]]] = field(default_factory=dict)

    def boot_of(self, time: int) -> int:
        """The boot that a moment belongs to; a boundary belongs to the later one."""
        return max(i for i, start in enumerate(self.boot_starts) if start <= time)

    def more_urgent(self, a: int, b: int) -> bool:
        return a > b if self.higher_first else a < b
