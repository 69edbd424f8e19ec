"""What each token of the events means: which task, handler, lock, queue or word.

The log speaks in ids; everything after it speaks in names. An id that is declared again under
another name is another thing from that line on. A token that nobody declared stands for itself.

The meaning of a token depends on the event word beside it, so it is found once for each pair of
word and token that occurs, and then looked up for all events at once.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl

from tracelens.compiled import compiled
from tracelens.errors import LogError
from tracelens.model.events import CODE, EVENT_WORDS
from tracelens.model.system import MOST_NAMES, Core, Isr, Lock, Place, Queue, System, Task
from tracelens.reconstruct.arena import Memory
from tracelens.reconstruct.roles import OF_MASKS, OF_QUEUES, Declared, Pair, Roles
from tracelens.room import empty

_NUMBERED = frozenset(("priority", "stack", "lost", "wake", "arrive", "finish"))
_BLOCK = 1 << 20
_LARGEST = 1 << 62
_MOST_LOST = 1 << 40  # what a single record may claim, so that no sum overflows

Meaning = tuple[Place | None, int]
"""From where in the log on (None: from its begin), and the number of the thing."""


@dataclass(frozen=True, slots=True)
class Named:
    """What the events' tokens mean.

    `system` has one record a name, with everything added that the events name. `objects` are
    the names of all locks, queues, and words waited for; `locks` those of them that are locks,
    `stocked` the queues whose sends or receives are logged, `takers` which tasks (index into
    system.tasks) receive from each, and `marked` the tasks whose jobs have marks of their own.
    """

    system: System
    objects: tuple[str, ...]
    locks: frozenset[str]
    stocked: frozenset[str]
    takers: dict[str, frozenset[int]]
    marked: frozenset[int]


@dataclass(frozen=True, slots=True)
class Numbered:
    """The events in numbers, one entry an event.

    times: ns; cores: index into system.cores; kinds: event codes; whos: the task that the event
    is about, as index into system.tasks, or -2 - index into system.isrs, or -1 for nobody;
    values: index into `objects` of a lock, a queue or what is waited for, else the value as an
    integer (1 for `sched` of a mask), else -1. Priorities are turned so that a higher number is
    more urgent.
    """

    times: np.ndarray
    cores: np.ndarray
    kinds: np.ndarray
    whos: np.ndarray
    values: np.ndarray

    def part(self, first: int, last: int) -> "Numbered":
        """The events [first, last)."""
        return Numbered(
            self.times[first:last],
            self.cores[first:last],
            self.kinds[first:last],
            self.whos[first:last],
            self.values[first:last],
        )


def name_events(
    events: pl.DataFrame, declared: System, sources: Sequence[str] = ()
) -> tuple[Named, Numbered]:
    """Resolve every token of the event table `events` against what is declared.

    `sources` are the names of the log's parts, for messages. Raises `LogError` if there are more
    names of a kind than `MOST_NAMES`.
    """
    kinds = events["event"].to_physical().to_numpy()
    with ThreadPoolExecutor(2) as pool:
        subjects, values = pool.map(lambda name: _Column(events[name]), ("subject", "value"))
        if subjects.words > 2 * MOST_NAMES + 1:  # '-' is no name
            what = "tasks and interrupt handlers"
            raise _too_many(what, subjects.words, "subject", events, sources)
        list(pool.map(lambda column: column.find_pairs(kinds), (subjects, values)))
    roles = Roles(declared, subjects.pairs, values.pairs)
    for what, tokens in roles.kinds():
        if len(tokens) > MOST_NAMES:
            column = "subject" if what in ("tasks", "interrupt handlers") else "value"
            raise _too_many(what, len(tokens), column, events, sources)

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
    task_index, isr_index, object_index = (
        {name: number for number, name in enumerate(names)}
        for names in (task_names, isr_names, objects)
    )
    turn = -1 if declared.order == "lower_first" else 1

    def who(pair: Pair) -> list[Meaning]:
        task = roles.task_meaning(pair)
        if task:
            return [(place, task_index[name]) for place, name in task]
        return [(place, -2 - isr_index[name]) for place, name in roles.handler_meaning(pair)]

    def value(pair: Pair) -> list[Meaning]:
        thing = roles.thing_meaning(pair)
        return [(place, object_index[name]) for place, name in thing] or [
            (None, _number(pair, turn))
        ]

    cores = _with_seen_cores(declared.cores, events)
    core_index = np.zeros(256, np.uint8)
    core_index[[core.id for core in cores]] = np.arange(len(cores), dtype=np.uint8)
    places = _Places(events)
    with ThreadPoolExecutor(2) as pool:
        whos = pool.submit(subjects.meaning, kinds, who, places)
        things = pool.submit(values.meaning, kinds, value, places)
    numbered = Numbered(
        times=events["time_ns"].to_numpy(),
        cores=core_index[events["core"].to_numpy()],
        kinds=kinds,
        whos=whos.result(),
        values=things.result(),
    )
    stocked = [pair for pair in values.pairs if pair[0] in OF_QUEUES]
    stock = frozenset(name for pair in stocked for _, name in roles.thing_meaning(pair))
    named = Named(
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
        stocked=stock,
        takers=_takers(numbered, objects, stock),
        marked=frozenset(
            number
            for pair in subjects.pairs
            if pair[0] in ("arrive", "finish")
            for _, number in who(pair)
            if number >= 0
        ),
    )
    return named, numbered


def _takers(
    numbered: Numbered, objects: Sequence[str], stock: frozenset[str]
) -> dict[str, frozenset[int]]:
    """Which tasks receive from each queue, by index."""
    receives = np.flatnonzero(numbered.kinds == CODE["receive"])
    pairs = pl.DataFrame({"queue": numbered.values[receives], "who": numbered.whos[receives]})
    takers = pairs.unique().group_by("queue").agg("who")
    found = dict(zip(takers["queue"].to_list(), takers["who"].to_list(), strict=True))
    return {
        name: frozenset(found.get(number, ()))
        for number, name in enumerate(objects)
        if name in stock
    }


def _too_many(
    what: str, count: int, column: str, events: pl.DataFrame, sources: Sequence[str]
) -> LogError:
    """The error that points at the event which has the first word beyond the most."""
    _, first = np.unique(events[column].to_physical().to_numpy(), return_index=True)
    row = int(np.sort(first)[: MOST_NAMES + 1][-1])
    part, line = events["part"][row], events["line"][row]
    return LogError(
        f"too many {what}: found {count} names, expected at most {MOST_NAMES} of a kind",
        place=f"{sources[part]}:{line}" if sources else None,
        hint="what changes from one event to the next, as a number, is no name",
    )


class _Column:
    """One column of tokens: which pairs of word and token occur, and where."""

    pair_of: dict[int, Pair]
    pairs: tuple[Pair, ...]

    def __init__(self, column: pl.Series) -> None:
        self._physical = column.to_physical()
        self._none = int(self._physical.to_frame().max().item() or 0) + 1
        distinct = self._distinct()
        words = pl.Series(distinct, dtype=self._physical.dtype).cat.to(column.dtype)
        self._texts = ["", *words.cast(pl.String).to_list()]
        self._dense = np.zeros(self._none + 1, np.int32)
        self._dense[distinct] = np.arange(1, len(self._texts))
        self.width = len(self._texts)

    @property
    def words(self) -> int:
        """How many there are."""
        return self.width - 1

    def find_pairs(self, kinds: np.ndarray) -> None:
        """Find `pairs`, and `pair_of` their keys."""
        used = np.zeros(len(EVENT_WORDS) * self.width, np.uint8)
        mark = compiled(_mark_pairs, len(kinds))
        for block, codes in self._blocks():
            mark(kinds[block], codes, self._dense, self.width, used)
        self.pair_of = {
            int(key): (EVENT_WORDS[key // self.width], self._texts[key % self.width])
            for key in np.flatnonzero(used)
        }
        self.pairs = tuple(self.pair_of.values())

    def meaning(
        self,
        kinds: np.ndarray,
        of: Callable[[Pair], list[Meaning]],
        places: "_Places",
    ) -> np.ndarray:
        """For each event the number that `of` gives its pair, the last whose place is not later.

        In 32 bits, unless a number needs more.
        """
        table = np.full(len(EVENT_WORDS) * self.width, -1, np.int64)
        several: dict[int, list[Meaning]] = {}
        for key, pair in self.pair_of.items():
            meanings = of(pair)
            if meanings:
                table[key] = meanings[0][1]
            if placed := [(place, n) for place, n in meanings[1:] if place is not None]:
                several[key] = [meanings[0], *placed]
        numbers = (n for meanings in several.values() for _, n in meanings)
        if np.abs(table).max(initial=0) < 1 << 31 and all(n < 1 << 31 for n in numbers):
            table = table.astype(np.int32)
        result = empty(len(kinds), table.dtype)
        look_up = compiled(_look_up, len(kinds))
        for block, codes in self._blocks():
            look_up(kinds[block], codes, self._dense, self.width, table, result[block])
        for block, codes in self._blocks() if several else ():
            keys = kinds[block].astype(np.int64) * self.width + self._dense[codes]
            for key, rows in _rows_of(keys, several, len(table)):
                begins = np.array([_in_order(place) for place, _ in several[key]])
                meant = np.array([number for _, number in several[key]], table.dtype)
                begins[0] = -1  # the first one holds from the begin of the log
                last = np.searchsorted(begins, places.at(block.start + rows)) - 1
                result[block.start + rows] = meant[last]
        return result

    def _blocks(self) -> Iterator[tuple[slice, np.ndarray]]:
        """The codes block by block, none in place of null: no room for those of all events."""
        for at in range(0, len(self._physical), _BLOCK):
            block = slice(at, at + _BLOCK)
            codes = self._physical[block].fill_null(self._none).to_numpy()
            yield block, codes.view(np.int32)

    def _distinct(self) -> np.ndarray:
        """Which codes occur, ascending. A hash of all of them takes far longer."""
        seen = np.zeros(self._none + 1, np.bool_)
        for _, codes in self._blocks():
            seen[codes] = True
        return np.flatnonzero(seen[: self._none])


def _mark_pairs(kinds: Memory, codes: Memory, dense: Memory, width: int, used: Memory) -> None:
    for i in range(len(kinds)):
        used[kinds[i] * width + dense[codes[i]]] = 1


def _look_up(
    kinds: Memory, codes: Memory, dense: Memory, width: int, table: Memory, result: Memory
) -> None:
    for i in range(len(kinds)):
        result[i] = table[kinds[i] * width + dense[codes[i]]]


def _rows_of(
    keys: np.ndarray, wanted: Iterable[int], most: int
) -> Iterator[tuple[int, np.ndarray]]:
    """Each of the keys, all below `most`, that are wanted, with the rows, in order, that have it.

    One that is wanted need not be there.
    """
    chosen = np.zeros(most, np.bool_)
    chosen[list(wanted)] = True
    rows = np.flatnonzero(chosen[keys])
    rows = rows[np.argsort(keys[rows], kind="stable")]
    for group in np.split(rows, np.flatnonzero(np.diff(keys[rows])) + 1):
        if len(group):
            yield int(keys[group[0]]), group


def _in_order(place: Place | None) -> int:
    """A number that grows with the place in the log."""
    part, line = place or (0, 0)
    return (part << 32) + line


class _Places:
    """Where each event stands in the log, worked out only when an id has several meanings."""

    def __init__(self, events: pl.DataFrame) -> None:
        self._events = events

    def at(self, rows: np.ndarray) -> np.ndarray:
        """The places of events, as `_in_order` has them."""
        parts, lines = (self._events[name].gather(rows).to_numpy() for name in ("part", "line"))
        return (parts.astype(np.int64) << 32) + lines


def _number(pair: Pair, turn: int) -> int:
    word, token = pair
    if word in OF_MASKS:
        return 1 if token == "sched" else 0
    if word not in _NUMBERED:
        return -1
    try:
        number = int(token)
    except ValueError:
        return 0 if word == "lost" else -1
    largest = _MOST_LOST if word == "lost" else _LARGEST
    number = max(-largest, min(largest, number))
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
    for number in events["core"].unique().sort().to_list():
        by_id.setdefault(number, Core(number, str(number)))
    return tuple(by_id[number] for number in sorted(by_id) if number < 256)
