"""What each token of the events means: which task, handler, lock, queue or word.

The log speaks in ids; everything after it speaks in names. An id that is declared again under
another name is another thing from that line on. A token that nobody declared stands for itself.

The meaning of a token depends on the event word beside it, so it is found once for each pair of
word and token that occurs, and then looked up for all events at once.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl

from tracelens.model.events import CODE, EVENT_WORDS, NO_TASK
from tracelens.model.system import Core, Isr, Lock, Place, Queue, System, Task

_OF_TASKS = frozenset(
    "activate start preempt wait release terminate suspend arrive finish request lock unlock "
    "priority stack".split()
)
_OF_HANDLERS = frozenset(("enter", "leave", "pend"))
_OF_ANYONE = frozenset(("mask", "unmask", "send", "receive"))
_OF_LOCKS = frozenset(("request", "lock", "unlock"))
_OF_QUEUES = frozenset(("send", "receive"))
_OF_MASKS = frozenset(("mask", "unmask"))
_NUMBERED = frozenset(("priority", "stack", "lost", "wake", "arrive", "finish"))
_LARGEST = 1 << 62

Declared = Task | Isr | Lock | Queue
Pair = tuple[str, str]
"""An event word and a token that occur together."""


@dataclass(frozen=True, slots=True)
class Named:
    """The events in numbers, and the things that the numbers mean.

    Arrays have one entry an event: `cores` (index into system.cores), `kinds` (event codes),
    `tasks` (index into system.tasks), `others` (index into system.isrs), `things` (index into
    `objects`), `numbers` (the value as an integer; 1 for `sched` of a mask); -1 where there is
    none. `objects` are the names of all locks, queues, and words waited for. `system` has one
    record a name, with everything added that the events name. `stocked` are the queues whose
    sends or receives are logged.
    """

    system: System
    objects: tuple[str, ...]
    locks: frozenset[str]
    stocked: frozenset[str]
    times: np.ndarray
    cores: np.ndarray
    kinds: np.ndarray
    tasks: np.ndarray
    others: np.ndarray
    things: np.ndarray
    numbers: np.ndarray


def name_events(events: pl.DataFrame, declared: System) -> Named:
    """Resolve every token of the event table `events` against what is declared.

    Priorities in `numbers` are turned so that a higher number is more urgent.
    """
    kinds = events["event"].to_physical().to_numpy()
    subjects = _Column(events["subject"], kinds)
    values = _Column(events["value"], kinds)
    roles = _Roles(declared, subjects.pairs, values.pairs)

    task_names = _names(declared.tasks, roles.tasks)
    isr_names = _names(declared.isrs, roles.handlers)
    lock_names = _names(declared.locks, roles.locks)
    queue_names = _names(declared.queues, roles.queues)
    words = [task.activation for task in declared.tasks if task.activation]
    objects = list(
        dict.fromkeys(
            [
                *lock_names,
                *queue_names,
                *(roles.object_names(word)[0][1] for word in words),
                *sorted(name for word in roles.waited for _, name in roles.object_names(word)),
            ]
        )
    )
    index_of = {
        kind: {name: number for number, name in enumerate(names)}
        for kind, names in (("task", task_names), ("isr", isr_names), ("object", objects))
    }
    places = _Places(events)

    def task_of(pair: Pair) -> list[tuple[Place | None, int]]:
        return _numbered(roles.task_meaning(pair), index_of["task"])

    def handler_of(pair: Pair) -> list[tuple[Place | None, int]]:
        return _numbered(roles.handler_meaning(pair), index_of["isr"])

    def thing_of(pair: Pair) -> list[tuple[Place | None, int]]:
        return _numbered(roles.thing_meaning(pair), index_of["object"])

    turn = -1 if declared.order == "lower_first" else 1

    def number_of(pair: Pair) -> list[tuple[Place | None, int]]:
        return [(None, _number(pair, turn))]

    cores = _with_seen_cores(declared.cores, events)
    core_index = np.zeros(256, np.uint8)
    core_index[[core.id for core in cores]] = np.arange(len(cores), dtype=np.uint8)
    return Named(
        system=replace(
            declared,
            tasks=_complete(Task, declared.tasks, task_names),
            isrs=_complete(Isr, declared.isrs, isr_names),
            locks=_complete(Lock, declared.locks, lock_names),
            queues=_complete(Queue, declared.queues, queue_names),
            cores=cores,
        ),
        objects=tuple(objects),
        locks=frozenset(lock_names),
        stocked=frozenset(
            name for word, token in values.pairs if word in _OF_QUEUES and token
            for _, name in roles.thing_meaning((word, token))
        ),
        times=events["time_ns"].to_numpy(),
        cores=core_index[events["core"].to_numpy()],
        kinds=kinds,
        tasks=subjects.meaning(task_of, np.int32, places),
        others=subjects.meaning(handler_of, np.int32, places),
        things=values.meaning(thing_of, np.int32, places),
        numbers=values.meaning(number_of, np.int64, places),
    )


class _Column:
    """One column of tokens: which pairs of word and token occur, and where."""

    def __init__(self, column: pl.Series, kinds: np.ndarray) -> None:
        distinct = column.unique().drop_nulls()
        texts = distinct.cast(pl.String).to_list()
        physical = distinct.to_physical().to_numpy().astype(np.int64)
        dense = np.zeros(int(physical.max(initial=-1)) + 2, np.int64)
        dense[physical] = np.arange(1, len(texts) + 1)
        codes = column.to_physical().fill_null(len(dense) - 1).to_numpy()
        self._width = len(texts) + 1
        self._keys = kinds * np.int64(self._width) + dense[codes]
        counts = np.bincount(self._keys, minlength=len(EVENT_WORDS) * self._width)
        used = np.flatnonzero(counts)
        texts.insert(0, "")
        self._pair_of = {
            int(key): (EVENT_WORDS[key // self._width], texts[key % self._width]) for key in used
        }
        self.pairs: tuple[Pair, ...] = tuple(self._pair_of.values())

    def meaning(
        self,
        of: Callable[[Pair], list[tuple[Place | None, int]]],
        dtype: Any,
        places: "_Places",
    ) -> np.ndarray:
        """For each event the number that `of` gives its pair, the last whose place is not later."""
        table = np.full(len(EVENT_WORDS) * self._width, -1, dtype)
        later: list[tuple[int, Place, int]] = []
        for key, pair in self._pair_of.items():
            meanings = of(pair)
            if meanings:
                table[key] = meanings[0][1]
                later += [(key, place, n) for place, n in meanings[1:] if place is not None]
        result = table[self._keys]
        for key, place, number in later:
            result[(self._keys == key) & places.from_on(place)] = number
        return result


class _Places:
    """Where each event stands in the log, worked out only when an id has several meanings."""

    def __init__(self, events: pl.DataFrame) -> None:
        self._events = events

    def from_on(self, place: Place) -> np.ndarray:
        part, line = place
        at_or_after = (pl.col("part") > part) | ((pl.col("part") == part) & (pl.col("line") > line))
        return self._events.select(at_or_after).to_series().to_numpy()


class _Roles:
    """Which tokens stand for tasks, handlers, locks and queues, and what they are called."""

    def __init__(
        self, declared: System, subjects: Iterable[Pair], values: Iterable[Pair]
    ) -> None:
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
        self.queues = {t for word, t in values if word in _OF_QUEUES and t}
        self.waited = {t for word, t in values if word == "wait" and t}

    def task_meaning(self, pair: Pair) -> list[tuple[Place | None, str]]:
        word, token = pair
        if token not in self.tasks or not (word in _OF_TASKS or word in _OF_ANYONE):
            return []
        return _meanings(token, self._tasks)

    def handler_meaning(self, pair: Pair) -> list[tuple[Place | None, str]]:
        word, token = pair
        named = word in _OF_HANDLERS or (word in _OF_ANYONE and token not in self.tasks)
        return _meanings(token, self._isrs) if named and token in self.handlers else []

    def thing_meaning(self, pair: Pair) -> list[tuple[Place | None, str]]:
        word, token = pair
        if not token:
            return []
        if word in _OF_LOCKS:
            return _meanings(token, self._locks)
        if word in _OF_QUEUES:
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


def _numbered(
    meanings: list[tuple[Place | None, str]], index: dict[str, int]
) -> list[tuple[Place | None, int]]:
    return [(place, index[name]) for place, name in meanings]


def _number(pair: Pair, turn: int) -> int:
    word, token = pair
    if word in _OF_MASKS:
        return 1 if token == "sched" else 0
    if word not in _NUMBERED:
        return -1
    try:
        number = int(token)
    except ValueError:
        return 0 if word == "lost" else -1
    number = max(-_LARGEST, min(_LARGEST, number))
    return number * turn if word == "priority" else number


def _names(records: Sequence[Declared], tokens: Iterable[str]) -> list[str]:
    """The names of what is declared, in that order, then undeclared tokens by name."""
    ids = {record.id for record in records}
    seen = sorted(token for token in tokens if token not in ids)
    return list(dict.fromkeys([*(record.name for record in records), *seen]))


def _complete(make: Any, records: Sequence[Any], names: Sequence[str]) -> tuple[Any, ...]:
    """One record a name: the first declared of that name, or a bare one."""
    by_name: dict[str, Any] = {}
    for record in records:
        by_name.setdefault(record.name, record)
    return tuple(by_name.get(name) or make(name, name) for name in names)


def _with_seen_cores(declared: Sequence[Core], events: pl.DataFrame) -> tuple[Core, ...]:
    by_id = {core.id: core for core in declared}
    for number in events["core"].unique().to_list():
        by_id.setdefault(number, Core(number, str(number)))
    return tuple(by_id[number] for number in sorted(by_id) if number < 256)
