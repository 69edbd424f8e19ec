"""What the machine knows of its own run: each job's ledger, every inversion, who had each core.

Written from the machine's state at the end of each instant, never from the log. A stretch in
which a task keeps its state is one phase; its ledger is written when it ends, because a ready
task looks at the core that it *next* starts on, which is known only then. The entries and their
order are the event log's definitions of a ledger.
"""

from array import array
from bisect import bisect_right
from typing import Final

from tracelens.engine.entries import (
    ASLEEP,
    IDLE,
    ISR,
    L_BACKLOG,
    L_BLOCKED,
    L_DEFERRED,
    L_EXECUTION,
    L_INVERSION,
    L_ISR,
    L_SUSPENDED,
    M_READY,
    M_RUNS,
    SWITCHING,
    TASK,
    Segment,
    chain_of,
    looks_at,
    push,
    raising,
)
from tracelens.engine.state import (
    BLOCKED,
    PAUSED,
    READY,
    RUNNING,
    CoreState,
    Instance,
    Phase,
    TaskState,
)

K_DIRECT: Final = 0
K_PUSH_THROUGH: Final = 1
K_CEILING: Final = 2


class Inversion:
    """One priority inversion under way."""

    __slots__ = (
        "by_lower",
        "chain",
        "holder",
        "job",
        "kind",
        "lock",
        "raised",
        "start",
        "third",
        "victim",
    )

    def __init__(
        self, kind: int, victim: TaskState, lock: int, chain: list[int], start: int, job: int
    ) -> None:
        self.kind = kind
        self.victim = victim.name
        self.lock = lock
        self.chain = chain
        self.start = start
        self.job = job
        self.holder = 0
        self.third: dict[int, int] = {}
        self.raised = False
        self.by_lower = False


class Truth:
    """Collects while the machine runs: `begin`, `close_instant` at the end of each, `finish`."""

    def __init__(self, cores: list[CoreState], tasks: list[TaskState]) -> None:
        self._cores = cores
        self._tasks = tasks
        self.starts: list[list[int]] = []
        self.segments: list[list[Segment]] = []
        self.moved_cores: set[int] = set()
        self.moved_tasks: list[TaskState] = []
        self.episodes = array("q")
        self.jobs: list[Instance] = []
        self.inversions: list[tuple[Inversion, int]] = []
        self.deadlocks: list[tuple[int, list[int], list[int]]] = []
        self.handler_runs = array("q")
        self._open: dict[int, tuple[Instance, int, int, int, int, int]] = {}
        self._blocked: list[TaskState] = []
        self._chain: dict[int, list[TaskState]] = {}
        self._inversion: dict[int, Inversion] = {}
        self.first_start: dict[int, int] = {}  # task → the core it first started on, this instant

    def begin(self) -> None:
        """Take note of the cores, when there are any."""
        self.starts = [[] for _ in self._cores]
        self.segments = [[] for _ in self._cores]
        self.moved_cores = {core.index for core in self._cores}

    # ------------------------------------------------------------------ once an instant

    def close_instant(self, now: int) -> None:
        """Write down what changed in this instant."""
        if self.moved_cores:
            for core in self.moved_cores:
                self._core(now, core)
            self.moved_cores.clear()
        if self.moved_tasks:
            for task in self.moved_tasks:
                self._task(now, task)
            self.moved_tasks.clear()
        if self._blocked:
            for task in self._blocked:
                self._look_at_chain(now, task)
        self.first_start.clear()

    def _core(self, now: int, index: int) -> None:
        core = self._cores[index]
        under = core.cur if core.started else None
        if core.nest:
            kind, who = ISR, core.nest[-1].name
        elif core.asleep:
            kind, who = ASLEEP, -1
        elif under is not None:
            kind, who = TASK, under.name
        elif core.idle_on or not (core.switching or core.cur):
            kind, who = IDLE, core.idle_name
        else:
            kind, who = SWITCHING, -1
        segment: Segment
        if under is None:
            segment = (kind, who, None, 0, ())
        else:
            raises = raising(under) if under.eff < under.base else ()
            segment = (kind, who, under, under.base, raises)
        starts, segments = self.starts[index], self.segments[index]
        if starts and starts[-1] == now:
            starts.pop()
            segments.pop()
        if not segments or segments[-1] != segment:
            starts.append(now)
            segments.append(segment)

    def _task(self, now: int, task: TaskState) -> None:
        old, job, state = task.phase, task.job, task.state
        if old is not None:
            if (
                old.job is job
                and old.kind == state
                and not (state == READY and task.index in self.first_start)
                and old.word == (task.last_core if state == RUNNING else task.word)
            ):
                return
            self._close(now, task, old)
            if old.job.end >= 0:
                self._flush(task)
        if job is None:
            task.phase = None
            return
        task.phase = phase = Phase(now, state, job, task.base)
        phase.word = task.last_core if state == RUNNING else task.word
        if not job.opened:
            job.opened = True
            if job.release < now:
                self._write(task, job, job.release, now, L_BACKLOG, -1, -1)
        if state == BLOCKED:
            phase.lock = task.waits
            self._blocked.append(task)

    def job_ended(self, job: Instance) -> None:
        """A job that begins and ends within one instant has no phase; it may have backlog."""
        if not job.opened and job.release < job.end:
            self.episodes.extend((job.serial, job.release, job.end, L_BACKLOG, -1, -1))

    # ------------------------------------------------------------------ writing a ledger

    def _write(
        self, task: TaskState, job: Instance, start: int, end: int, entry: int, by: int, via: int
    ) -> None:
        last = self._open.get(task.index)
        if last is not None:
            if last[3] == entry and last[4] == by and last[5] == via and last[0] is job:
                self._open[task.index] = (job, last[1], end, entry, by, via)
                return
            self.episodes.extend((last[0].serial, *last[1:]))
        self._open[task.index] = (job, start, end, entry, by, via)

    def _flush(self, task: TaskState) -> None:
        last = self._open.get(task.index)
        if last is not None:
            self.episodes.extend((last[0].serial, *last[1:]))
            del self._open[task.index]

    def _close(self, now: int, task: TaskState, phase: Phase) -> None:
        kind = phase.kind
        if kind == BLOCKED:
            self._close_blocked(now, task, phase)
            self._blocked.remove(task)
            self._chain.pop(task.index, None)
            self._end_inversion(now, task)
        elif now > phase.start:
            if kind == RUNNING:
                self._close_running(now, task, phase)
            elif kind == READY:
                self._close_ready(now, task, phase)
            elif kind == PAUSED:
                self._write(task, phase.job, phase.start, now, L_SUSPENDED, -1, phase.word)

    def _pieces(self, core: int, start: int, end: int) -> list[tuple[int, int, Segment]]:
        """The core's segments in [start, end), cut to it."""
        starts, segments = self.starts[core], self.segments[core]
        place = bisect_right(starts, start) - 1
        last = len(starts) - 1
        pieces = []
        while start < end:
            till = starts[place + 1] if place < last else end
            if till > end:
                till = end
            pieces.append((start, till, segments[place]))
            start = till
            place += 1
        return pieces

    def _close_running(self, now: int, task: TaskState, phase: Phase) -> None:
        job = phase.job
        for start, end, segment in self._pieces(phase.word, phase.start, now):
            if segment[0] == ISR:
                self._write(task, job, start, end, L_ISR, segment[1], -1)
            else:
                self._write(task, job, start, end, L_EXECUTION, task.name, -1)

    def _close_ready(self, now: int, task: TaskState, phase: Phase) -> None:
        job, mine = phase.job, phase.base
        held_up: Inversion | None = None
        for start, end, segment in self._pieces(self._next_core(task), phase.start, now):
            kind, _, under, base, raises = segment
            via = push(raises, mine) if base > mine else -1
            raised = under is not None and via >= 0
            if held_up is not None and (
                not raised or under is None or under.name != held_up.chain[0] or via != held_up.lock
            ):
                self.inversions.append((held_up, start))
                held_up = None
            if raised and under is not None and held_up is None:
                held_up = Inversion(K_PUSH_THROUGH, task, via, [under.name], start, job.serial)
                held_up.raised = True
            entry, by, lock = looks_at(segment, mine)
            if held_up is not None and kind == TASK:
                held_up.holder += end - start
            self._write(task, job, start, end, entry, by, lock)
        if held_up is not None:
            self.inversions.append((held_up, now))

    def _next_core(self, task: TaskState) -> int:
        """The core that a task, ready until now, starts on now; else where it ran last."""
        if task.core >= 0:
            return task.core
        core = self.first_start.get(task.index, task.last_core)
        return core if core >= 0 else task.home

    # ------------------------------------------------------------------ waiting for a lock

    def _look_at_chain(self, now: int, task: TaskState) -> None:
        phase = task.phase
        if phase is None or phase.lock is None:
            return
        members, end_task, mode = chain_of(task)
        # Whoever runs or sleeps is looked for where it ran last; whoever is ready (after handing
        # over, too), where it starts next, which is known when it does.
        ready = end_task is None or end_task.state == READY
        core = -1 if end_task is None or ready else end_task.last_core
        started = ready and end_task is not None and end_task.index in self.first_start
        if (
            phase.end_task is not end_task
            or phase.mode != mode
            or phase.chain_core != core
            or started
            or self._chain.get(task.index) != members
        ):
            self._close_blocked(now, task, phase)
            phase.start = now
            phase.end_task, phase.mode, phase.chain_core = end_task, mode, core
            self._chain[task.index] = members
        # One record a wait, from its begin, if a lower task stood in the way at any time of it.
        inversion = self._inversion.get(task.index)
        names = [member.name for member in members]
        if inversion is None:
            refused = task.wants is not phase.lock
            inversion = Inversion(
                K_CEILING if refused else K_DIRECT,
                task,
                phase.lock.name,
                names,
                now,
                phase.job.serial,
            )
            self._inversion[task.index] = inversion
        elif len(names) > len(inversion.chain):
            inversion.chain = names
        if any(member.eff < member.base for member in members):
            inversion.raised = True
        if any(member.base > phase.base for member in members):
            inversion.by_lower = True

    def _end_inversion(self, now: int, task: TaskState) -> None:
        inversion = self._inversion.pop(task.index, None)
        if inversion is not None and inversion.by_lower and now > inversion.start:
            self.inversions.append((inversion, now))

    def _close_blocked(self, now: int, task: TaskState, phase: Phase) -> None:
        if now <= phase.start or phase.lock is None or phase.mode < 0:
            return
        end_task, mode, lock = phase.end_task, phase.mode, phase.lock.name
        inversion = self._inversion.get(task.index)
        core = phase.chain_core
        if core < 0:
            core = self._next_core(task if end_task is None else end_task)
        for start, end, segment in self._pieces(core, phase.start, now):
            kind = segment[0]
            if kind in (ISR, ASLEEP) or mode == M_READY:
                entry, by, via = looks_at(segment, phase.base)
                if entry == L_DEFERRED:
                    entry, via = L_INVERSION, lock
                    if inversion is not None:
                        inversion.third[by] = inversion.third.get(by, 0) + end - start
            else:
                assert end_task is not None
                entry, by, via = L_BLOCKED, end_task.name, lock
                if mode == M_RUNS and inversion is not None:
                    inversion.holder += end - start
            self._write(task, phase.job, start, end, entry, by, via)

    # ------------------------------------------------------------------ the end

    def finish(self, until: int) -> None:
        """Close everything at the end of the span, [0, until)."""
        self.close_instant(until)
        for task in self._tasks:
            if task.phase is not None:
                self._close(until, task, task.phase)
                self._flush(task)
            for job in task.pending:
                if job.release < until:
                    self.episodes.extend((job.serial, job.release, until, L_BACKLOG, -1, -1))


class Silent(Truth):
    """Takes no notes, for a run whose log is all that is wanted."""

    def begin(self) -> None:
        """Nothing to take note of."""

    def close_instant(self, now: int) -> None:
        """Forget what changed."""
        self.moved_cores.clear()
        self.moved_tasks.clear()
        self.first_start.clear()

    def finish(self, until: int) -> None:
        """Nothing is open."""
