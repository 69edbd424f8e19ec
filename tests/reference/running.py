"""Who runs where: starts, acts that prove it, and contradictions."""

from tests.reference.axis import Event
from tests.reference.gaps import Gaps
from tests.reference.world import (
    READY,
    RUNNING,
    STATE_UNKNOWN,
    SUSPENDED,
    UNKNOWN,
    WAITING,
    Contradiction,
    Core,
    IsrRun,
    Task,
    TaskState,
)


class Running(Gaps):
    """Keeps track of who runs on which core."""

    def _set_running(self, task: Task, core: Core, time: int) -> None:
        """`task` runs on `core` from now on, whatever it did before."""
        was = task.state.last
        if was.state == RUNNING and was.core != core.id:
            assert was.core is not None
            left = self.world.cores[was.core]
            if left.running.last == task.name:
                left.running.set(time, UNKNOWN)
        if was.state == STATE_UNKNOWN:
            self._tell(task, "seen")
        elif was.state == WAITING:
            self._end_wait(task, time, implied=True)
        elif was.state == SUSPENDED:
            self._tell(task, "activate", seen=False)
        if not (was.state == RUNNING and was.core == core.id):
            task.state.set(time, TaskState(RUNNING, core=core.id))
            task.ran_on.append((time, core.id))
            self._tell(task, "runs")

    def _end_wait(self, task: Task, time: int, implied: bool = False) -> None:
        """waiting → ready, by a release or, where none was seen, by the start."""
        what = task.state.last.waits_for
        is_lock = what in self.world.locks
        if is_lock:
            self._released_from_lock(task, time)
        task.state.set(time, TaskState(READY))
        self._tell(task, "release", what=what, is_lock=is_lock, implied=implied)

    def _put_off(self, core: Core, time: int, but: str) -> None:
        """Whoever ran there is off it."""
        name = core.running.last
        if name not in (None, UNKNOWN, but):
            assert name is not None
            self._preempted(self.world.tasks[name], time)
        if core.running.last == UNKNOWN:
            for task in self.world.tasks.values():
                if task.state.last == TaskState(RUNNING, core=core.id) and task.name != but:
                    self._preempted(task, time)

    def _preempted(self, task: Task, time: int) -> None:
        task.state.set(time, TaskState(READY))
        self._tell(task, "stops")

    def _nobody_runs(self, task: Task, time: int) -> None:
        """`task` has left the core that it ran on."""
        if task.state.last.state == RUNNING:
            assert task.state.last.core is not None
            core = self.world.cores[task.state.last.core]
            if core.running.last == task.name:
                core.running.set(time, None)

    def _wake_up(self, core: Core, time: int) -> None:
        if core.asleep.last:
            core.asleep.set(time, False)
            self._repair("wake that was not written")

    def _acts(self, time: int, event: Event) -> Task | None:
        """An act of a task proves that it runs on the core of the record."""
        if event.subject not in self.world.tasks:
            return None  # outside any task
        task, core = self.world.tasks[event.subject], self.world.cores[event.core]
        self._wake_up(core, time)
        runs = core.running.last
        if runs == task.name:
            pass
        elif runs == UNKNOWN:
            if task.state.last.state in (READY, WAITING, SUSPENDED):  # its start was not seen
                self._lose_task(task, max(core.last_record, task.known_since))
            self._put_off(core, time, but=task.name)
            self._set_running(task, core, time)
        else:
            self._contradict(task, core, time, event)
        task.last_seen = time
        return task

    def _contradict(self, task: Task, core: Core, time: int, event: Event) -> None:
        """A switch from Y, or from nobody, to X was not recorded."""
        ran = core.running.last
        since = core.last_record
        self.world.contradictions.append(
            Contradiction(event.line, core.id, ran, task.name, since, time)
        )
        core.blackout.set(since, True)
        core.blackout.set(time, False)
        for one in [task] if ran is None else [task, self.world.tasks[ran]]:
            self._lose_task(one, max(since, one.known_since))
        self._set_running(task, core, time)
        core.running.set(time, task.name)

    def _end_isr(self, core: Core, run: IsrRun, time: int) -> None:
        run.end = time
        core.isr_stack.remove(run)
        core.isr.set(time, core.isr_stack[-1] if core.isr_stack else None)
