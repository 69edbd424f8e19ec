"""Unknown time: what a gap, a restart or a lost switch makes unknown, and from when."""

from tests.reference.axis import Event
from tests.reference.waits import LockWaits
from tests.reference.world import NOT_KNOWN, RUNNING, UNKNOWN, Core, Hold, Ownership, Task


class Gaps(LockWaits):
    """Makes cores, tasks, locks and queues unknown."""

    def _lose_task(self, task: Task, since: int) -> None:
        was = task.state.last
        if was.state == RUNNING:
            assert was.core is not None
            core = self.world.cores[was.core]
            if core.running.last == task.name:
                core.running.set(max(since, core.running.last_change), UNKNOWN)
        task.state.set(since, NOT_KNOWN)
        self._close_wait(task, since, got=False)
        task.wants = None
        task.released_early = False
        task.pending_activations = 0
        self._tell(task, "gap")

    def _lose_core(self, core: Core, time: int) -> None:
        since = core.last_record
        core.blackout.set(since, True)
        core.blackout.set(time, False)
        core.running.set(since if core.running.last_change <= since else time, UNKNOWN)
        for run in core.isr_stack:
            run.end, run.complete = since, False
        core.isr_stack.clear()
        core.isr.set(max(since, core.isr.last_change), None)
        for what, opened in core.masks.items():
            if opened:
                self.world.masks.append((core.id, what, opened[0][1], opened[0][0], since))
            opened.clear()
        core.masked.set(since, False)
        core.asleep.set(since, False)

    def _lose_locks_and_queues(self, since: int) -> None:
        for lock in self.world.locks.values():
            moment = max(since, lock.last_seen, lock.owner.last_change)
            for hold in lock.open_holds.values():
                end = moment if hold.overtaken_at is None else hold.overtaken_at
                self._close_hold(hold, end, complete=False)
            lock.open_holds.clear()
            lock.owner.set(moment, Ownership())
        for task in self.world.tasks.values():
            moment = max(since, task.held.last_change, task.raised.last_change)
            task.held.set(moment, ())
            task.raised.set(moment, None)
        for queue in self.world.queues.values():
            queue.level.set(max(since, queue.level.last_change), None)
            for item in queue.items:
                item.doubtful = True
            for name in self.consumers[queue.declared.name]:
                self._tell(self.world.tasks[name], "doubt", what=queue.declared.name)

    def _close_hold(self, hold: Hold, time: int, complete: bool) -> None:
        hold.end, hold.complete = time, complete
        self.world.holds.append(hold)

    def _on_lost(self, time: int, event: Event) -> None:
        core = self.world.cores[event.core]
        since = core.last_record
        self.world.lost_events += int(event.value) if event.value.isdigit() else 0
        elsewhere = {
            name
            for name, task in self.world.tasks.items()
            if task.state.last.state == RUNNING and task.state.last.core != core.id
        }
        self._lose_core(core, time)
        for name, task in self.world.tasks.items():
            if name not in elsewhere:
                self._lose_task(task, max(since, task.known_since))
        self._lose_locks_and_queues(since)

    def _restart(self, time: int) -> None:
        """A boundary between boots behaves like a gap on every core."""
        earliest = min(core.last_record for core in self.world.cores.values())
        for task in self.world.tasks.values():
            state = task.state.last
            since = earliest
            if state.state == RUNNING:
                assert state.core is not None
                since = self.world.cores[state.core].last_record
            self._lose_task(task, max(since, task.known_since))
            self._tell(task, "boot")
            task.base.set(time, task.declared.priority)
        for core in self.world.cores.values():
            self._lose_core(core, time)
            core.last_record = time
        self._lose_locks_and_queues(earliest)
        self.pends.clear()
