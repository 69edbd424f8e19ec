"""What a recorded run asks of the kernel, in a form that can be changed and then run."""

from dataclasses import dataclass, field

from tracelens.engine.listed import Until
from tracelens.engine.work import Op, Things
from tracelens.model.system import System
from tracelens.replay.turns import Turns


@dataclass(slots=True)
class Script:
    """All that one task did. Times are ns.

    `ops` are operations of the engine; UNTIL points into `untils`. `at_once`: it is at the wait
    that its first operation begins from time 0 on. Else it is activated at `activations`;
    `unseen`: the first of them stands in no log, the task was under way when the record began.
    `released`: it is in the wait of its first operation already, without a word about it.
    `removed`: it is left out of the replay.
    """

    name: str
    ops: list[Op] = field(default_factory=list)
    untils: list[Until] = field(default_factory=list)
    activations: list[int] = field(default_factory=list)
    at_once: bool = False
    unseen: bool = False
    released: bool = False
    core: int = 0
    pinned: bool = True
    period_ns: int | None = None
    removed: bool = False


@dataclass(slots=True)
class Runs:
    """All runs of one handler on one core: when each was requested, and what it did."""

    name: str
    core: int
    times: list[int]
    bodies: list[tuple[Op, ...]]
    key: int = 0  # urgency among handlers; the smaller, the more urgent
    tells: bool = False
    rotates: bool = False


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of a run, [begin_ns, end_ns), in which everything is known.

    `scripts` are those of the tasks that are neither idle nor opaque, by name. `costs` are what
    switches cost, by (name of who starts, how the core was left). `opens_after`: so long after the
    begin each core's tasks run at first, handlers not counted. `beside` are events in nobody's
    work, as the engine writes them. `items`: what is in each queue at the begin. `lost`: (core,
    count) of the loss before it; None where the target restarted before it, as boot number `boot`.
    """

    begin_ns: int
    end_ns: int
    scripts: dict[str, Script]
    handlers: tuple[Runs, ...]
    costs: dict[tuple[str, int], list[int]]
    opens_after: tuple[int, ...]
    beside: tuple[tuple[int, int, int, int, int], ...]
    items: tuple[int, ...]
    lost: tuple[int, int] | None = None
    boot: int = 0


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole run. Changes make another plan of it; nothing in it is changed in place.

    `turns`: how equally urgent tasks share a core. `usual_cost_ns`: of a switch. `notes` are
    sentences about what could not be replayed as it was.
    """

    system: System
    things: Things
    stretches: tuple[Stretch, ...]
    told: list[tuple[int, int, int]]
    usual_cost_ns: int
    original_ceiling: frozenset[str]
    drops: frozenset[str]
    idle: tuple[str | None, ...]
    preemptive: bool
    turns: Turns
    sleeps: bool
    span_ns: int
    notes: tuple[str, ...]
