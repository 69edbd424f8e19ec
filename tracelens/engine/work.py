"""One task's or handler's work, compiled: when job n is due, and the operations it performs."""

from typing import Final

from tracelens.engine.draws import Stream, TicksOf
from tracelens.model.taskset import Duration, Program, Step

# Operations: (code, index of what, ticks). The order of the codes is used: from TAKE on they are
# performed only after dispatch, the others at once when the step before them ends.
UNLOCK: Final = 0
SEND: Final = 1
ACTIVATE: Final = 2
MARK: Final = 3
SUSPEND: Final = 4
RELEASE_DUE: Final = 5
TAKE: Final = 6  # lowest code that needs the core after dispatch
RECEIVE: Final = 6
LOCK: Final = 7
RUN: Final = 8

# Operations of recorded scripts only; see `scripted`. Those below 0 are performed at once.
TELL: Final = -1  # write the event m.told[what] again
RELEASE: Final = -2  # a task that awaits it
UNTIL: Final = -3  # wait until the release m.untils[what], or go on late
AWAIT: Final = -4  # wait for a release by another
HOLD: Final = -5  # be suspended until a time, then (what) released or activated
PRIORITY: Final = -6  # give a task another base key
NEXT: Final = -7  # take an item at once or wait for one; RECEIVE follows
END: Final = -8  # terminate; another activation may be waiting
BLANK: Final = -9  # the record ends here: what would follow is not known
MASK: Final = -10  # of the scheduler: what is 1 on, 0 off
POLL: Final = 9  # take an item if there is one

Op = tuple[int, int, int]

_CODES: Final = {
    "unlock": UNLOCK,
    "send": SEND,
    "activate": ACTIVATE,
    "mark": MARK,
    "suspend": SUSPEND,
    "receive": RECEIVE,
    "lock": LOCK,
    "run": RUN,
}


class Things:
    """Indices of locks, queues and tasks by name, and of every name in the table of names."""

    def __init__(self) -> None:
        self.names: list[str] = []
        self._index: dict[str, int] = {}
        self.locks: dict[str, int] = {}
        self.queues: dict[str, int] = {}
        self.tasks: dict[str, int] = {}

    def name(self, text: str) -> int:
        """Index of `text` in the table of names, entered at its first use."""
        index = self._index.get(text)
        if index is None:
            index = self._index[text] = len(self.names)
            self.names.append(text)
        return index

    def target(self, step: Step) -> int:
        """The operand of a step: an index whose meaning depends on its kind."""
        if step.what is None:
            return -1
        if step.kind in ("lock", "unlock"):
            return self.locks[step.what]
        if step.kind in ("send", "receive"):
            return self.queues[step.what]
        if step.kind == "activate":
            return self.tasks[step.what]
        return self.name(step.what)


class Work:
    """Arrivals and bodies of one program; `job` counts from 0, times are ticks.

    `due(job)` is the nominal time, `arrival(job)` the time with its jitter; both None after the
    last. `body(job)` are the operations.
    """

    per_request = 0
    """1 if a request that is lost takes its body with it."""

    def __init__(
        self,
        key: tuple[int, str],
        program: Program,
        things: Things,
        ticks: TicksOf,
        *,
        period_ns: int | None,
        offset_ns: int,
    ) -> None:
        self._key = key
        self._ticks = ticks
        self._things = things
        self._most = program.most_jobs
        self._bodies: list[tuple[Op, ...]] | None = None
        self._releases: list[int | None] | None = None
        if program.given is not None:
            self._most = len(program.given)
            self._releases = [
                None if job.release_ns is None else ticks(job.release_ns) for job in program.given
            ]
            self._bodies = [self._compile(self._lasting(job.body)) for job in program.given]
        elif program.releases_ns is not None:
            self._releases = [ticks(ns) for ns in program.releases_ns]
            self._most = min(len(self._releases), program.most_jobs or len(self._releases))
        self._period_ns = period_ns
        self._offset_ns = offset_ns
        self._jitter = self._stream("jitter", Duration(0, program.jitter_ns), 0)
        self._gap = None if program.gap is None else self._stream("gap", program.gap, 1)
        self._sporadic: list[int] = [ticks(offset_ns)]
        self._stack = (
            None if program.stack_use is None else self._stream("stack", program.stack_use, 0, True)
        )
        self._stack_per_tick = program.stack_per_us * 1_000_000 / ticks.hz
        self._fixed: tuple[Op, ...] | None = None
        self._template: list[Op] = []
        self._drawn: list[tuple[int, Stream]] = []
        self._prepare(program.body)

    def _stream(self, what: str, duration: Duration, least: int, raw: bool = False) -> Stream:
        ticks = TicksOf(1_000_000_000) if raw else self._ticks
        return Stream(duration, ticks, least, *self._key, what)

    def _compile(self, steps: tuple[Step, ...]) -> tuple[Op, ...]:
        """Operations of steps without anything to draw."""
        ops = []
        for step in steps:
            time = 0 if step.time is None else max(1, self._ticks(step.time.low_ns))
            ops.append((_CODES[step.kind], self._things.target(step), self._operand(step, time)))
        return tuple(ops)

    def _lasting(self, steps: tuple[Step, ...]) -> tuple[Step, ...]:
        """Given steps without those that take no time at all, as a recording may have them."""
        return tuple(
            step for step in steps if step.time is None or self._ticks(step.time.low_ns) > 0
        )

    def _operand(self, step: Step, time: int) -> int:
        if step.kind != "mark":
            return time
        if step.value is None:
            return -1
        return -2 - int(step.value) if step.value.isdigit() else self._things.name(step.value)

    def _prepare(self, steps: tuple[Step, ...]) -> None:
        self._template = list(self._compile(steps))
        for place, step in enumerate(steps):
            if step.time is not None and not step.time.constant:
                self._drawn.append((place, self._stream(f"step {place}", step.time, 1)))
        if not self._drawn:
            self._fixed = tuple(self._template)

    @property
    def timed(self) -> bool:
        """True if time releases its jobs, not a task, a handler or an item."""
        if self._releases is not None:
            return bool(self._releases) and self._releases[0] is not None
        return self._period_ns is not None or self._gap is not None

    def due(self, job: int) -> int | None:
        """Nominal release of a job; None if there is none."""
        if self._most is not None and job >= self._most:
            return None
        if self._releases is not None:
            return self._releases[job]
        if self._gap is not None:
            made = self._sporadic
            while job >= len(made):
                made.append(made[-1] + self._gap[len(made) - 1])
            return made[job]
        if self._period_ns is None:
            return None
        return self._ticks(self._offset_ns + job * self._period_ns)

    def arrival(self, job: int) -> int | None:
        """Release of a job, its jitter included; None if there is none."""
        due = self.due(job)
        return due if due is None or self._releases is not None else due + self._jitter[job]

    def body(self, job: int) -> tuple[Op, ...]:
        """Operations of a job."""
        if self._fixed is not None and self._bodies is None:
            return self._fixed
        if self._bodies is not None:
            return self._bodies[job] if job < len(self._bodies) else ()
        ops = self._template.copy()
        for place, stream in self._drawn:
            code, what, _ = ops[place]
            ops[place] = (code, what, stream[job])
        return tuple(ops)

    def replace_body(self, ops: tuple[Op, ...]) -> None:
        """Give the program other operations, the same for each job."""
        self._fixed = ops

    def stack_use(self, job: int, ops: tuple[Op, ...]) -> int:
        """Bytes of stack that a job reaches; 0 where nothing is said about the stack."""
        if self._stack is None:
            return 0
        ran = sum(op[2] for op in ops if op[0] == RUN) if self._stack_per_tick else 0
        return self._stack[job] + int(ran * self._stack_per_tick)
