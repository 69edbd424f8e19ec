"""The events of the task model: what a task does, and what others do to it."""

from tests.reference.axis import Event
from tests.reference.running import Running
from tests.reference.world import (
    READY,
    RUNNING,
    STATE_UNKNOWN,
    SUSPENDED,
    WAITING,
    Raise,
    TaskState,
)


class TaskModel(Running):
    """Events that change the state of a task."""

    def _on_activate(self, time: int, event: Event) -> None:
        if event.subject not in self.world.tasks:
            return
        task = self.world.tasks[event.subject]
        state = task.state.last.state
        queued = state not in (SUSPENDED, STATE_UNKNOWN)
        self._tell(task, "activate", was_unknown=state == STATE_UNKNOWN, queued=queued)
        task.last_seen = time
        task.released_on.append((time, event.core))
        if queued:
            task.pending_activations += 1
        else:
            task.state.set(time, TaskState(READY))

    def _on_start(self, time: int, event: Event) -> None:
        core = self.world.cores[event.core]
        for run in [run for run in core.isr_stack if run.ends_at_start]:
            self._end_isr(core, run, time)
            self._repair("ISR without leave")
        self._wake_up(core, time)
        self._put_off(core, time, but=event.subject)
        if event.subject not in self.world.tasks:
            core.running.set(time, None)
            return
        task = self.world.tasks[event.subject]
        if task.state.last == TaskState(RUNNING, core=core.id):
            self._tell(task, "start_again")
        self._set_running(task, core, time)
        task.last_seen = time
        core.running.set(time, task.name)

    def _on_preempt(self, time: int, event: Event) -> None:
        task = self._acts(time, event)
        if task:
            self._nobody_runs(task, time)
            self._preempted(task, time)

    def _on_wait(self, time: int, event: Event) -> None:
        task = self._acts(time, event)
        if not task:
            return
        what = event.value or None
        is_lock = what in self.world.locks
        self._tell(task, "wait", what=what, is_lock=is_lock)
        self._nobody_runs(task, time)
        task.state.set(time, TaskState(WAITING, waits_for=what))
        self._close_wait(task, time, got=False)
        if is_lock:
            assert what is not None
            self._open_wait(task, what, time, spun=False)
        else:
            task.wants = None
        if what in self.world.queues:
            assert what is not None
            self._wait_for_queue(what, time)
        if task.released_early:
            task.released_early = False
            self._end_wait(task, time)

    def _wait_for_queue(self, name: str, time: int) -> None:
        queue = self.world.queues[name]
        if queue.level.last is None:
            queue.level.set(time, 0)  # a wait proves it empty
            queue.items.clear()
            for consumer in sorted(self.consumers[name]):
                self._tell(self.world.tasks[consumer], "emptied", what=name)

    def _on_release(self, time: int, event: Event) -> None:
        if event.subject not in self.world.tasks:
            return
        task = self.world.tasks[event.subject]
        state = task.state.last
        task.last_seen = time
        if state.state == RUNNING and state.core != event.core:
            if self.ahead.wait_follows_release(self.index, self.late_ns):
                task.released_early = True
                task.released_on.append((time, event.core))
        elif state.state == WAITING:
            self._end_wait(task, time)
            task.released_on.append((time, event.core))
        elif state.state == STATE_UNKNOWN:
            task.state.set(time, TaskState(READY))
            task.released_on.append((time, event.core))
            self._tell(task, "release", seen=False)

    def _on_terminate(self, time: int, event: Event) -> None:
        task = self._acts(time, event)
        if not task:
            return
        self._tell(task, "terminate")
        self._nobody_runs(task, time)
        self._close_wait(task, time, got=False)
        task.wants = None
        if task.pending_activations:
            task.pending_activations -= 1
            task.state.set(time, TaskState(READY))
        else:
            task.state.set(time, TaskState(SUSPENDED))

    def _on_suspend(self, time: int, event: Event) -> None:
        if event.subject not in self.world.tasks:
            return
        task = self.world.tasks[event.subject]
        self._tell(task, "suspend", comes_back=self.ahead.comes_back(self.index))
        self._nobody_runs(task, time)
        task.state.set(time, TaskState(SUSPENDED))
        self._close_wait(task, time, got=False)
        task.wants = None
        task.released_early = False
        task.pending_activations = 0
        task.last_seen = time

    def _on_arrive(self, time: int, event: Event) -> None:
        if event.subject not in self.world.tasks:
            return
        task, core = self.world.tasks[event.subject], self.world.cores[event.core]
        own = task.state.last == TaskState(RUNNING, core=core.id) and not core.isr_stack
        self._tell(task, "arrive", own=own, what=event.value)

    def _on_finish(self, time: int, event: Event) -> None:
        task = self._acts(time, event)
        if task:
            self._tell(task, "finish", what=event.value)

    def _on_priority(self, time: int, event: Event) -> None:
        if event.subject not in self.world.tasks:
            return
        task = self.world.tasks[event.subject]
        if task.held.last:
            task.raised.set(time, Raise(int(event.value), task.held.last))
        else:
            task.base.set(time, int(event.value))
