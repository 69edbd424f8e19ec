"""Waits for locks: how they open and close."""

from tests.reference.lines import NO_TASK
from tests.reference.scene import Scene
from tests.reference.world import Deadlock, LockWait, Task


class LockWaits(Scene):
    """Opens and closes waits for locks."""

    def _open_wait(self, task: Task, lock: str, time: int, spun: bool) -> None:
        wanted = task.wants or lock
        owner = self.world.locks[lock].owner.last.owner
        wanted_owner = self.world.locks[wanted].owner.last.owner
        wait = LockWait(
            task.name,
            lock,
            wanted,
            time,
            spun,
            refused=wanted != lock and wanted_owner in (None, task.name),
            owner=None if owner == NO_TASK else owner,
            line=self.event.line,
        )
        self.world.lock_waits.append(wait)
        task.wait.set(time, wait)
        self._look_for_deadlock(task, time)

    def _look_for_deadlock(self, task: Task, time: int) -> None:
        tasks, locks = [], []
        one: Task | None = task
        while one and one.wait.last and one.name not in tasks:
            tasks.append(one.name)
            locks.append(one.wait.last.lock)
            owner = self.world.locks[one.wait.last.lock].owner.last.owner
            one = self.world.tasks.get(owner) if owner else None
        if one is task:
            self.world.deadlocks.append(Deadlock(time, tasks, locks))

    def _close_wait(self, task: Task, time: int, got: bool) -> None:
        wait = task.wait.last
        if wait:
            wait.end, wait.got = max(time, wait.start), got
            task.wait.set(max(time, task.wait.last_change), None)

    def _released_from_lock(self, task: Task, time: int) -> None:
        """The waiter is ready again: by the hand-over, or because it gave up or was overtaken."""
        wait = task.wait.last
        if not wait:
            task.wants = None
            return
        owner = self.world.locks[wait.lock].owner.last.owner
        if owner in (None, task.name):
            got = self.ahead.locks_next(self.index, task.name, {wait.lock, wait.wanted})
            self._close_wait(task, time, got=got)
        else:
            self._close_wait(task, time, got=False)
            task.wants = None
