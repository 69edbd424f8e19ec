"""Answers the questions about later events that the rules for untidy logs ask."""

from bisect import bisect_right
from collections import defaultdict

from tests.reference.axis import Event
from tests.reference.lines import Text

ACTS = ["wait", "preempt", "terminate", "request", "lock", "unlock", "send", "receive", "finish"]
ACTS_ON_LOCKS = ("wait", "lock", "request", "unlock", "terminate")


class Ahead:
    def __init__(self, events: list[Event], text: Text) -> None:
        self.events = events
        self.text = text
        self.of_task: dict[str, list[int]] = defaultdict(list)
        self.of_isr: dict[tuple[str, int], list[int]] = defaultdict(list)
        for index, event in enumerate(events):
            if event.subject in text.tasks:
                self.of_task[event.subject].append(index)
            if event.word in ("enter", "leave"):
                self.of_isr[event.subject, event.core].append(index)

    def _next_of_task(self, index: int, name: str, words: tuple[str, ...]) -> Event | None:
        indices = self.of_task[name]
        boot = self.events[index].boot
        for at in range(bisect_right(indices, index), len(indices)):
            event = self.events[indices[at]]
            if event.boot != boot:
                return None
            if event.word in words:
                return event
        return None

    def held_items_before(self, queue: str) -> bool:
        """Is more taken out of the queue, in the first boot, than was put in before?

        Not if a task waits for it first: that proves it empty.
        """
        items = 0
        for event in self.events:
            if event.boot != self.events[0].boot or (event.word, event.value) == ("wait", queue):
                return False
            if event.value == queue:
                items += {"send": 1, "receive": -1}.get(event.word, 0)
            if items < 0:
                return True
        return False

    def spins(self, index: int) -> bool:
        """The request at `index` meets an owned lock: is no wait seen before it gets the lock?"""
        request = self.events[index]
        following = self._next_of_task(index, request.subject, ACTS_ON_LOCKS)
        if following is None:
            return True
        return following.word == "lock" and following.value == request.value

    def locks_next(self, index: int, name: str, locks: set[str]) -> bool:
        """Does the task take one of `locks` next, perhaps by asking for it once more?"""
        following = self._next_of_task(index, name, ("wait", "lock", "unlock", "terminate"))
        return following is not None and following.word == "lock" and following.value in locks

    def wait_follows_release(self, index: int, within: int) -> bool:
        """Does the wait that this early release ends follow at once?

        No start may stand between, nor a lock that the task wants or takes: a waiter that spins is
        often released so, for the lock and not for a wait still to come.
        """
        release = self.events[index]
        following = self._next_of_task(index, release.subject, ("start", "wait", "lock", "request"))
        if following is None or following.word != "wait":
            return False
        return following.time - release.time <= within

    def comes_back(self, index: int) -> bool:
        """Is the task that is suspended here activated again?"""
        name = self.events[index].subject
        return self._next_of_task(index, name, ("activate",)) is not None

    def isr_ends_at_start(self, index: int) -> bool:
        """The ISR that enters at `index` has no leave before it enters again, or the boot ends."""
        enter = self.events[index]
        indices = self.of_isr[enter.subject, enter.core]
        at = bisect_right(indices, index)
        if at == len(indices):
            return True
        following = self.events[indices[at]]
        return following.boot != enter.boot or following.word == "enter"
