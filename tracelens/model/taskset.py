"""A task set: what is declared about a system, and the work that its tasks and handlers do.

Two sources of work share one form. *Drawn*: arrivals and execution times come from durations
with a spread. *Given*: every job is listed with its release and its own steps, as a recording
or a textbook tells them. Times are integer nanoseconds; intervals are half-open.
"""

from dataclasses import dataclass, field
from typing import Literal

from tracelens.model.system import System

StepKind = Literal["run", "lock", "unlock", "send", "receive", "suspend", "activate", "mark"]


@dataclass(frozen=True, slots=True)
class Duration:
    """A length of time: constant, uniform, or long-tailed. Both ends are included.

    `tail` None draws uniformly from `low_ns` to `high_ns`; a number is the shape of a bounded
    Pareto distribution between them (the smaller, the heavier the tail).
    """

    low_ns: int
    high_ns: int
    tail: float | None = None

    @property
    def constant(self) -> bool:
        """True if there is nothing to draw."""
        return self.low_ns == self.high_ns


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a program.

    kind      what                              time
    run       -                                 own execution
    lock      a lock                            -
    unlock    a lock                            -
    send      a queue: one item in              -
    receive   a queue: one item out             -
    suspend   what it waits for, a free word    how long
    activate  a task with activation=activate   -
    mark      a word (`value`: its value)       -
    """

    kind: StepKind
    what: str | None = None
    time: Duration | None = None
    value: str | None = None


@dataclass(frozen=True, slots=True)
class Job:
    """One given job. `release_ns` is None where something else releases it (an item, a task)."""

    release_ns: int | None
    body: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Program:
    """What one task or handler does, and when it is asked to.

    Arrivals are, in this order of preference: the releases of `given`, those listed in
    `releases_ns`, the grid of the task's period and offset with `jitter_ns`, or gaps drawn from
    `gap` after the offset. With none of them something else must release it: an item of its
    activation queue, or a step `activate`. `most_jobs` ends the arrivals early.

    `period_ns` and `offset_ns` are for handlers; a task's own stand in its declaration.
    `stack_use` (in bytes, as a Duration of that many 'ns') is drawn for each job, and
    `stack_per_us` bytes are added for each µs of the job's own execution.
    """

    body: tuple[Step, ...] = ()
    given: tuple[Job, ...] | None = None
    releases_ns: tuple[int, ...] | None = None
    period_ns: int | None = None
    offset_ns: int = 0
    jitter_ns: int = 0
    gap: Duration | None = None
    most_jobs: int | None = None
    core: int | None = None
    pend: bool = False
    stack_use: Duration | None = None
    stack_per_us: float = 0.0


@dataclass(frozen=True, slots=True)
class Kernel:
    """How the scheduler behaves.

    `switch_ns` passes, with nobody on the core, before each start. With `tick_ns` the releases
    by time happen in a handler 'tick' that runs `tick_cost_ns`. With `sleep` an idle core
    sleeps and takes `wake_ns` to come back; `clock_stops` freezes the counter meanwhile.
    """

    preemptive: bool = True
    slice_ns: int | None = None
    switch_ns: int = 0
    tick_ns: int | None = None
    tick_cost_ns: int = 0
    idle: bool = True
    sleep: bool = False
    wake_ns: int = 0
    clock_stops: bool = False


@dataclass(frozen=True, slots=True)
class TaskSet:
    """A system with its work. `programs` is keyed by the names of tasks and handlers.

    `original_ceiling` names the locks under the original ceiling protocol (a refusal although
    the lock is free); in `system` they have protocol 'ceiling' and no ceiling. `drops` names the
    queues that lose an item when full; the others make a sending task wait.
    """

    system: System
    programs: dict[str, Program]
    kernel: Kernel = field(default_factory=Kernel)
    original_ceiling: frozenset[str] = frozenset()
    drops: frozenset[str] = frozenset()
    until_ns: int | None = None
    seed: int | None = None
    place: str | None = None
