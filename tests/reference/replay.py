"""Replays the events one at a time and writes the history of every core, task, lock and queue.

Each `_on_WORD` method, here and in the modules that `Replay` is made of, is one row of the table
of events. Looking ahead is done by `Ahead`.
"""

from tests.reference.axis import Axis, Event
from tests.reference.interrupts import Interrupts
from tests.reference.lines import Text
from tests.reference.sharing import Sharing
from tests.reference.states import TaskModel
from tests.reference.world import World


def replay(text: Text, axis: Axis) -> World:
    """The histories of everything that a log is about."""
    run = Replay(text, axis)
    for index, event in enumerate(axis.events):
        run.step(index, event)
    run.finish()
    return run.world


class Replay(TaskModel, Interrupts, Sharing):
    """The whole replay, one step an event."""

    def step(self, index: int, event: Event) -> None:
        self.index, self.event = index, event
        if event.boot != self.boot:
            self.boot = event.boot
            self._restart(event.time)
        getattr(self, f"_on_{event.word}")(event.time, event)
        self.world.cores[event.core].last_record = event.time

    def _on_stack(self, time: int, event: Event) -> None:
        self.world.stack.setdefault(event.subject, []).append((time, int(event.value)))

    def _on_mark(self, time: int, event: Event) -> None:
        """A mark says nothing about who runs."""

    def finish(self) -> None:
        """Close what is still open at the end of the log."""
        span = self.world.span
        for core in self.world.cores.values():
            for run in core.isr_stack:
                run.end, run.complete = span, False
            for what, opened in core.masks.items():
                if opened:
                    self.world.masks.append((core.id, what, opened[0][1], opened[0][0], span))
        for task in self.world.tasks.values():
            self._close_wait(task, span, got=False)
        for lock in self.world.locks.values():
            for hold in lock.open_holds.values():
                end = span if hold.overtaken_at is None else hold.overtaken_at
                self._close_hold(hold, end, complete=False)
