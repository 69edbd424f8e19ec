"""Which tokens of the events stand for tasks, handlers, locks, queues, or words waited for."""

from collections.abc import Iterable, Set

from tracelens.model.events import NO_TASK
from tracelens.model.system import Isr, Lock, Place, Queue, System, Task

_OF_TASKS = frozenset(
    (
        *("activate", "start", "preempt", "wait", "release", "terminate", "suspend"),
        *("arrive", "finish", "request", "lock", "unlock", "priority", "stack"),
    )
)
_OF_HANDLERS = frozenset(("enter", "leave", "pend"))
_OF_ANYONE = frozenset(("mask", "unmask", "send", "receive"))
_OF_LOCKS = frozenset(("request", "lock", "unlock"))
OF_QUEUES = frozenset(("send", "receive"))
OF_MASKS = frozenset(("mask", "unmask"))

Declared = Task | Isr | Lock | Queue
Pair = tuple[str, str]
"""An event word and a token that occur together."""


class Roles:
    """Which tokens stand for tasks, handlers, locks and queues, and what they are called."""

    def __init__(self, declared: System, subjects: Iterable[Pair], values: Iterable[Pair]) -> None:
        self._tasks = _by_id(declared.tasks)
        self._isrs = _by_id(declared.isrs)
        self._locks = _by_id(declared.locks)
        self._queues = _by_id(declared.queues)
        as_task = {t for word, t in subjects if word in _OF_TASKS}
        as_handler = {t for word, t in subjects if word in _OF_HANDLERS}
        anyone = {t for word, t in subjects if word in _OF_ANYONE}
        undecided = anyone - as_task - self._tasks.keys()
        self.handlers = as_handler | (undecided & (as_handler | self._isrs.keys()))
        self.tasks = (as_task | (anyone - self.handlers)) - {NO_TASK, ""}
        self.locks = {t for word, t in values if word in _OF_LOCKS and t}
        self.queues = {t for word, t in values if word in OF_QUEUES and t}
        self.waited = {t for word, t in values if word == "wait" and t}

    def kinds(self) -> tuple[tuple[str, Set[str]], ...]:
        """What is named, with the ids of all that are, declared or not."""
        return (
            ("tasks", self.tasks | self._tasks.keys()),
            ("interrupt handlers", self.handlers | self._isrs.keys()),
            ("locks", self.locks | self._locks.keys()),
            ("queues", self.queues | self._queues.keys()),
            ("words waited for", self.waited),
        )

    def task_meaning(self, pair: Pair) -> list[tuple[Place | None, str]]:
        """From where on which task a subject names; nothing if it names none."""
        word, token = pair
        if token not in self.tasks or not (word in _OF_TASKS or word in _OF_ANYONE):
            return []
        return _meanings(token, self._tasks)

    def handler_meaning(self, pair: Pair) -> list[tuple[Place | None, str]]:
        """From where on which interrupt handler a subject names."""
        word, token = pair
        named = word in _OF_HANDLERS or (word in _OF_ANYONE and token not in self.tasks)
        return _meanings(token, self._isrs) if named and token in self.handlers else []

    def thing_meaning(self, pair: Pair) -> list[tuple[Place | None, str]]:
        """From where on which lock, queue or word a value names."""
        word, token = pair
        if not token:
            return []
        if word in _OF_LOCKS:
            return _meanings(token, self._locks)
        if word in OF_QUEUES:
            return _meanings(token, self._queues)
        return self.object_names(token) if word == "wait" else []

    def object_names(self, token: str) -> list[tuple[Place | None, str]]:
        """What a task waits for: a lock, else a queue, else the word itself."""
        if token in self._locks or (token in self.locks and token not in self._queues):
            return _meanings(token, self._locks)
        return _meanings(token, self._queues)


def _by_id(records: Iterable[Declared]) -> dict[str, list[Declared]]:
    found: dict[str, list[Declared]] = {}
    for record in records:
        found.setdefault(record.id, []).append(record)
    return found


def _meanings(token: str, records: dict[str, list[Declared]]) -> list[tuple[Place | None, str]]:
    """(from where on, name) of a token, in order; the first holds from the begin."""
    return [(r.line, r.name) for r in records.get(token, ())] or [(None, token)]
