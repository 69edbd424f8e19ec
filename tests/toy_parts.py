"""What the toy kernel is made of: tasks, locks, interrupt handlers, cores, and its habits."""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tests.toy_kernel import Kernel

Command = tuple[Any, ...]  # ('run', 5), ('lock', 'bus', None), …: the `do_…` methods of Kernel
Steps = Generator[Command, None, None]
Program = Callable[["Kernel", "Task"], Steps]
Row = tuple[int, int, str, str, str]  # time, core, event, subject, value


@dataclass(eq=False)
class Task:
    name: str
    urgency: int
    program: Program
    core: int | None = None  # None: any
    idle: bool = False
    state: str = "suspended"
    eff: int = 0
    base: int = 0
    doing: Steps | None = None
    again: Command | None = None  # a command to be tried once more when it runs
    left: int = 0
    spins: str | None = None
    waits_for: str | None = None
    deadline: int | None = None  # when its delay or its patience ends
    held: list[str] = field(default_factory=list)
    pending: int = 0
    reserved: bool = False
    last_core: int = 0
    sliced: int = 0


@dataclass(eq=False)
class Lock:
    name: str
    protocol: str
    ceiling: int
    declared_ceiling: bool
    owner: Task | None = None
    depth: int = 0
    promised: Task | None = None


@dataclass(eq=False)
class Isr:
    name: str
    level: int
    core: int
    next_at: int
    gap: tuple[int, int]
    acts: Callable[[Kernel, Isr], None]
    nested_ok: bool = True


@dataclass(eq=False)
class IsrRun:
    isr: Isr
    left: int
    then: str  # 'act' or 'leave'


@dataclass(eq=False)
class Core:
    number: int
    current: Task | None = None
    switching: Task | None = None
    left: int = 0
    isrs: list[IsrRun] = field(default_factory=list)
    wanted: list[Isr] = field(default_factory=list)
    masks: list[str] = field(default_factory=list)
    asleep: bool = False


@dataclass
class Habits:
    """How this kernel and its recorder behave."""

    preempt_recorded: bool
    overhead: int
    request_recorded: bool
    requeue_recorded: bool
    restore: str  # 'at once', 'with the last', 'never'
    promises: bool  # a freed lock is kept for the waiter that is released
    spins: bool
    slice: int
    sleeps: bool
    pends: bool
    says_who: bool
