"""What a log or a system file declares: clock, tasks, interrupts, locks, queues, cores, chains.

All records are frozen; times are integer nanoseconds. A field that nobody declared is None.
`line` is the place of the declaration: (part, line) in the log, or None when it came from a
system file. The same id declared again under another name is another thing from that line on,
so a tuple may hold several records with one id; `Names` in `tracelens.reconstruct.names` tells
which of them an event means.
"""

from dataclasses import dataclass, field
from typing import Final, Literal

Place = tuple[int, int]
"""(part, line): index into `Log.sources` and 1-based line number there."""

MOST_NAMES: Final = 32_768
"""How many different names of a kind (tasks, handlers, locks, queues, words) there may be in a log
or a file: what is kept of each, and of each pair of them, would otherwise have no bound."""

PROTOCOLS: Final = {
    "none": "no protocol",
    "inherit": "priority inheritance",
    "original_ceiling": "original priority ceiling",
    "ceiling": "immediate priority ceiling",
}
"""Protocol of a lock → what it is called (Burns & Wellings, Real-Time Systems and Programming
Languages). A log does not tell the two ceilings apart; a task set does."""


@dataclass(frozen=True, slots=True)
class Clock:
    """A counter. `hz` ticks a second; it wraps at 2**`bits`; records may be `late_ns` late.

    `core` is None for the counter that the cores share, else the core that this one belongs to.
    """

    hz: int
    bits: int = 64
    late_ns: int = 10_000_000
    core: int | None = None


@dataclass(frozen=True, slots=True)
class Task:
    """A task: periodic by `period_ns`, sporadic by `separation_ns`; `priority` is as declared."""

    id: str
    name: str
    priority: int | None = None
    period_ns: int | None = None
    separation_ns: int | None = None
    offset_ns: int | None = None
    deadline_ns: int | None = None
    stack_bytes: int | None = None
    activation: str | None = None
    core: int | None = None
    idle: bool | None = None
    line: Place | None = None


@dataclass(frozen=True, slots=True)
class Isr:
    """An interrupt service routine. Its `priority` is an urgency of its own, no task priority."""

    id: str
    name: str
    priority: int | None = None
    line: Place | None = None


@dataclass(frozen=True, slots=True)
class Lock:
    """A lock. `ceiling` is a task priority in the system's own order, declared with `ceiling`."""

    id: str
    name: str
    protocol: Literal["none", "inherit", "ceiling"] | None = None
    ceiling: int | None = None
    line: Place | None = None


@dataclass(frozen=True, slots=True)
class Queue:
    """A queue, or a semaphore (a queue of empty items), of at most `depth` items."""

    id: str
    name: str
    depth: int | None = None
    line: Place | None = None


@dataclass(frozen=True, slots=True)
class Core:
    """A core, by the integer that the events give, and its name."""

    id: int
    name: str
    line: Place | None = None


@dataclass(frozen=True, slots=True)
class Chain:
    """A path of causes through ISRs, tasks and marks, held against an end-to-end deadline."""

    name: str
    path: tuple[str, ...]
    deadline_ns: int | None = None


@dataclass(frozen=True, slots=True)
class Power:
    """What a core draws, in mA, and what a wake-up costs, in µC.

    `modes` are sleep modes by the name that the `sleep` events give; any other sleep draws
    `sleep_ma`. `fixed_ma` is the part of `active_ma` that does not change with the clock.
    """

    active_ma: float
    idle_ma: float
    sleep_ma: float = 0.0
    modes: dict[str, float] = field(default_factory=dict)
    wake_uc: float = 0.0
    fixed_ma: float = 0.0
    battery_mah: float | None = None


@dataclass(frozen=True, slots=True)
class System:
    """Everything declared about one system.

    `order` says which number is more urgent. `run` keeps the keys of `#run` as written,
    `notes` the texts of `#note`, `unknown` each key or declaration that the format does not know
    as (place, text). `differences` are sentences: where a system file overrode the log.
    `thresholds` replaces defaults of the findings, by name.
    """

    clocks: tuple[Clock, ...] = ()
    order: Literal["higher_first", "lower_first"] | None = None
    policy: Literal["fixed", "edf", "round_robin"] = "fixed"
    tasks: tuple[Task, ...] = ()
    isrs: tuple[Isr, ...] = ()
    locks: tuple[Lock, ...] = ()
    queues: tuple[Queue, ...] = ()
    cores: tuple[Core, ...] = ()
    chains: tuple[Chain, ...] = ()
    run: dict[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    unknown: tuple[tuple[Place, str], ...] = ()
    differences: tuple[str, ...] = ()
    thresholds: dict[str, float] = field(default_factory=dict)
    power: Power | None = None
