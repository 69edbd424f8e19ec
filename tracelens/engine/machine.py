"""The machine at one moment: everything a task set is made of, the clock, and what it wrote."""

from array import array

from tracelens.engine.draws import TicksOf
from tracelens.engine.listed import SwitchCosts, Until
from tracelens.engine.state import CoreState, HandlerState, LockState, QueueState, TaskState
from tracelens.engine.truth import Truth
from tracelens.engine.work import Things


class Machine:
    """State without behaviour; `build` fills it, the other modules of this package change it.

    `out` holds five numbers an event: time (ticks), core, code, subject, value. Subject and value
    are indices in `things.names`; a value of −1 is empty, one of −2 − n is the number n.
    """

    def __init__(self, ticks: TicksOf) -> None:
        self.ticks = ticks
        self.now = 0
        self.heap: list[tuple[int, int, int, int]] = []
        self.due: list[tuple[int, int]] = []  # releases that the next tick brings about
        self.ready: list[TaskState] = []
        self.head = self.tail = 0  # places before and behind all ready tasks
        self.waits = 0  # waits for a lock so far
        self.things = Things()
        self.delay = self.things.name("delay")
        self.tasks: list[TaskState] = []
        self.handlers: list[HandlerState] = []
        self.tick_handler: HandlerState | None = None
        self.locks: list[LockState] = []
        self.queues: list[QueueState] = []
        self.cores: list[CoreState] = []
        self.edf = self.sleeps = self.clock_stops = False
        self.preemptive = True
        self.sign = 1  # of a priority in a key
        self.slice = self.switch = self.tick = self.wake = 0  # ticks; 0: there is none
        # Of recorded scripts:
        self.costs: SwitchCosts | None = None  # in place of `switch`
        self.turns_every = 0  # ticks between the ends of all slices; 0: slices have their own
        self.keeps_turn = True  # who is preempted is the first of its equals again
        self.keeps_raise = False  # a raised holder stays so until its last lock is back
        self.told: list[tuple[int, int, int]] = []  # events to write again: code, subject, value
        self.untils: list[Until] = []
        self.out = array("q")
        self.emit = self.out.extend
        self.truth = Truth(self.cores, self.tasks)

    def priority_of(self, key: int) -> int:
        """The priority, in the system's own order, that a key stands for."""
        return self.sign * key
