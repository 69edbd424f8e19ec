"""Locks and queues: who holds, who gives back, what is sent and received."""

from tests.reference.axis import Event
from tests.reference.lines import NO_TASK
from tests.reference.running import Running
from tests.reference.world import Hold, Item, Lock, Ownership


class Sharing(Running):
    """Events of locks and queues."""

    def _on_request(self, time: int, event: Event) -> None:
        task = self._acts(time, event)
        if not task:
            return
        self._close_wait(task, time, got=False)
        task.wants = event.value
        owner = self.world.locks[event.value].owner.last.owner
        if owner not in (None, task.name) and self.ahead.spins(self.index):
            self._open_wait(task, event.value, time, spun=True)

    def _on_lock(self, time: int, event: Event) -> None:
        task = self._acts(time, event)
        name = task.name if task else NO_TASK
        lock = self.world.locks[event.value]
        lock.last_seen = time
        if task:
            wait = task.wait.last
            got = wait is not None and event.value in (wait.lock, wait.wanted)
            self._close_wait(task, time, got=got)
            task.wants = None
        hold = lock.open_holds.get(name)
        owner = lock.owner.last.owner
        if hold and owner == name:
            hold.depth += 1
            return
        if hold:  # it was overtaken and never gave the lock back
            assert hold.overtaken_at is not None
            self._close_hold(hold, hold.overtaken_at, complete=False)
        if owner is not None and owner != name:  # this lock comes before the unlock it follows
            lock.open_holds[owner].overtaken_at = time
            self._no_longer_holds(owner, lock, time)
        lock.open_holds[name] = Hold(event.value, name, time)
        lock.owner.set(time, Ownership(owner=name))
        if task:
            task.held.set(time, (*task.held.last, event.value))

    def _on_unlock(self, time: int, event: Event) -> None:
        task = self._acts(time, event)
        name = task.name if task else NO_TASK
        lock = self.world.locks[event.value]
        lock.last_seen = time
        if task:
            self._close_wait(task, time, got=False)
            task.wants = None
        owner = lock.owner.last.owner
        holder = name if name in lock.open_holds else owner
        if holder is None:
            lock.owner.set(time, Ownership(given_back_by=name))
            return
        hold = lock.open_holds[holder]
        hold.depth -= 1
        if hold.depth:
            return
        self._close_hold(hold, time, complete=True)
        del lock.open_holds[holder]
        if holder == owner:
            lock.owner.set(time, Ownership(given_back_by=name))
            self._no_longer_holds(holder, lock, time)

    def _no_longer_holds(self, name: str, lock: Lock, time: int) -> None:
        if name not in self.world.tasks:
            return
        task = self.world.tasks[name]
        task.held.set(time, tuple(one for one in task.held.last if one != lock.declared.name))
        if not task.held.last:
            task.raised.set(time, None)

    def _on_send(self, time: int, event: Event) -> None:
        self._acts(time, event)
        queue = self.world.queues[event.value]
        queue.sends += 1
        known = queue.level.last is not None
        item = Item(event.value, time, event.line, doubtful=not known)
        queue.items.append(item)
        if queue.level.last is not None:
            queue.level.set(time, queue.level.last + 1)
        for name in self.consumers[event.value]:
            self._tell(self.world.tasks[name], "sent", what=event.value, item=item)

    def _on_receive(self, time: int, event: Event) -> None:
        task = self._acts(time, event)
        queue = self.world.queues[event.value]
        queue.receives += 1
        item = queue.items.pop(0) if queue.items else None
        if queue.level.last:
            queue.level.set(time, queue.level.last - 1)
        elif queue.level.last == 0:
            queue.level.set(time, None)  # it held more than the log shows
            self._repair("more taken out of a queue than was put in")
        if item:
            item.received = time
            if not item.doubtful:
                self.world.items.append(item)
        if task:
            self._tell(task, "received", what=event.value, item=item)
