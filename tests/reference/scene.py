"""What every part of the replay works on: the world, the event at hand, and later events."""

from collections import defaultdict

from tests.reference.ahead import Ahead
from tests.reference.axis import Axis
from tests.reference.lines import Text
from tests.reference.world import Core, Happening, Lock, Queue, Task, World


class Scene:
    """The world that a replay writes, and the event at hand."""

    def __init__(self, text: Text, axis: Axis) -> None:
        self.text = text
        self.ahead = Ahead(axis.events, text)
        assert text.clock is not None
        self.late_ns = text.clock.late_us * 1000
        self.index = 0
        self.event = axis.events[0]
        self.boot = 0
        self.pends: dict[str, int] = {}
        self.world = World(
            span=axis.events[-1].time,
            boot_starts=axis.boot_starts,
            times=sorted({0, *(event.time for event in axis.events)}),
            cores={core: Core(core) for core in sorted(text.cores)},
            tasks={name: Task(declared) for name, declared in text.tasks.items()},
            locks={name: Lock(declared) for name, declared in text.locks.items()},
            queues={name: Queue(declared) for name, declared in text.queues.items()},
            higher_first=text.higher_first,
            policy=text.policy,
        )
        for task in self.world.tasks.values():
            task.base.set(0, task.declared.priority)
        for name, queue in self.world.queues.items():
            if self.ahead.held_items_before(name):
                queue.level.set(0, None)
        logged = {e.value for e in axis.events if e.word in ("send", "receive")}
        self.consumers: dict[str, set[str]] = defaultdict(set)
        for event in axis.events:
            if event.word == "receive" and event.subject in self.world.tasks:
                self.consumers[event.value].add(event.subject)
        for name, task in self.world.tasks.items():
            if task.declared.activation in logged:
                self.consumers[task.declared.activation].add(name)

    def _tell(self, task: Task, kind: str, **details: object) -> None:
        task.story.append(Happening(self.event.time, self.event.line, kind, **details))

    def _repair(self, reason: str, line: int | None = None) -> None:
        self.world.repairs.append((self.event.line if line is None else line, reason))
