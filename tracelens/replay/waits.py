"""Why each wait ended: by time, by another's act, or for an item; and what that means in a replay.

A task that sleeps until its next period keeps its nominal releases. A delay of a fixed length
stays relative to its begin. What an interrupt handler or another task releases stays caused by
it. What nothing shows to have a cause stays at its time.
"""

from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, NamedTuple

from tracelens.replay.records import (
    R_ACTIVATED,
    R_LATE,
    R_PREEMPTED,
    R_RAISED,
    R_RECEIVE,
    R_RELEASED,
    R_SEND,
    R_START,
    R_WAIT,
)

# How a wait ends in the replay.
BY_TIME: Final = 0  # at its time
BY_TICK: Final = 1  # at its time, when the tick's handler comes to it
BY_DELAY: Final = 2  # so long after its begin
BY_ACT: Final = 3  # by the act of a handler or a task
BY_ITEM: Final = 4  # by an item; the engine's queues do it
BY_ROOM: Final = 5  # by room for an item
BY_LOCK: Final = 6
NEVER_ENDS: Final = 7

MOST: Final = 0.5  # share from which on a handler is taken to cause a kind of release
NEARLY_ALL: Final = 0.95  # the same of a task, which might only have happened to run
FEW: Final = 2  # so many are needed to say that of a handler
ENOUGH: Final = 5  # so many are needed to say that of a task
SPREAD_SHARE: Final = 0.1  # a delay is of fixed length if it spreads by no more of its median


_PASSIVE: Final = (R_START, R_LATE, R_PREEMPTED, R_ACTIVATED, R_RAISED)
"""What befalls a task, and is no act of its own."""


class Wait(NamedTuple):
    """One wait of a task. `place`: of its record among the task's; `row`: of its release."""

    place: int
    word: int
    begin: int
    end: int
    by: int  # the stream that acted when it ended, −1
    named: bool  # and the log names it as the cause
    row: int
    then: int  # code of the first act after it
    on: int  # and its object


@dataclass(frozen=True, slots=True)
class Ended:
    """How one wait ends."""

    how: int
    begin: int
    end: int
    row: int
    by: int


def waits_of(
    code: Sequence[int],
    arg: Sequence[int],
    time: Sequence[int],
    more: Sequence[int],
    row: Sequence[int],
) -> list[Wait]:
    """The waits of one task, from its records in order."""
    found = []
    count = len(code)
    for place in range(count):
        if code[place] != R_WAIT:
            continue
        after = place + 1
        while after < count and code[after] in (R_ACTIVATED, R_RAISED):
            after += 1
        if after >= count or code[after] != R_RELEASED:
            found.append(Wait(place, arg[place], time[place], -1, -1, False, -1, -1, -1))
            continue
        act = after + 1
        while act < count and code[act] in _PASSIVE:
            act += 1
        found.append(
            Wait(
                place,
                arg[place],
                time[place],
                time[after],
                arg[after],
                bool(more[after]),
                row[after],
                code[act] if act < count else -1,
                arg[act] if act < count else -1,
            )
        )
    return found


@dataclass(frozen=True, slots=True)
class Setting:
    """What is known of one task when its waits are judged."""

    locks: int  # objects below are locks
    queues: int  # and from there below are queues
    delay: int  # the object 'delay', −1
    activation: int  # the object of its activation, −1
    declared: bool  # whether an activation is declared
    period_ns: int | None
    tasks: int  # streams below are tasks
    idle: frozenset[int]
    ticks: frozenset[int]  # handlers that release by time


def judge(waits: Sequence[Wait], known: Setting) -> dict[int, Ended]:
    """How each wait of one task ends, by the place of its record."""
    by_word: dict[int, list[Wait]] = {}
    judged: dict[int, Ended] = {}
    for wait in waits:
        how = -1
        if 0 <= wait.word < known.locks:
            how = BY_LOCK
        elif known.locks <= wait.word < known.queues and wait.on == wait.word:
            how = BY_ITEM if wait.then == R_RECEIVE else BY_ROOM if wait.then == R_SEND else -1
        if how >= 0:
            judged[wait.place] = Ended(how, wait.begin, wait.end, wait.row, wait.by)
        else:
            by_word.setdefault(wait.word, []).append(wait)
    for word, group in by_word.items():
        judged |= _of_one_word(word, group, known)
    return judged


def time_like(word: int, known: Setting) -> bool:
    """Whether who waits so waits for time to pass, as far as words tell."""
    if word >= 0 and word == known.delay:
        return True
    return known.period_ns is not None and (word == known.activation or not known.declared)


def _of_one_word(word: int, group: list[Wait], known: Setting) -> dict[int, Ended]:
    ended = [wait for wait in group if wait.end >= 0]
    contexts = Counter(wait.by for wait in ended if wait.by >= 0)
    by, times = contexts.most_common(1)[0] if contexts else (-1, 0)
    timed = time_like(word, known)
    acts = False
    if by >= known.tasks:
        enough = by in known.ticks if timed else times >= FEW
        acts = enough and times >= MOST * len(ended)
    elif by >= 0 and by not in known.idle and not timed:
        named = sum(wait.named for wait in ended if wait.by == by)
        acts = named == times or (times >= max(ENOUGH, NEARLY_ALL * len(ended)))
    tick = acts and timed
    boundary = word == known.activation or not known.declared
    relative = not boundary or (known.period_ns is None and _fixed_length(ended))
    judged = {}
    for wait in group:
        explicit = wait.named and not timed
        if wait.end < 0:
            how = NEVER_ENDS
        elif explicit or (acts and not tick and wait.by == by):
            how = BY_ACT
        elif relative:
            how = BY_DELAY
        else:
            how = BY_TICK if tick and wait.by == by else BY_TIME
        judged[wait.place] = Ended(how, wait.begin, wait.end, wait.row, wait.by)
    return judged


def _fixed_length(waits: Sequence[Wait]) -> bool:
    """Whether these waits last about the same, more nearly than their ends are evenly apart."""
    if len(waits) < ENOUGH:
        return False
    lengths = sorted(wait.end - wait.begin for wait in waits)
    apart = sorted(b.end - a.end for a, b in pairwise(waits))
    return _spread(lengths) <= min(_spread(apart), SPREAD_SHARE * lengths[len(lengths) // 2])


def _spread(ordered: Sequence[int]) -> int:
    return ordered[len(ordered) * 9 // 10] - ordered[len(ordered) // 10]


def grid_origin(releases: Sequence[int], offset_ns: int | None, period_ns: int) -> int:
    """Where nominal releases lie: the offset, else the lower envelope of the releases."""
    if offset_ns is not None:
        return offset_ns
    if not releases:
        return 0
    first = releases[0]
    lags = [
        (at - first + period_ns // 2) % period_ns - period_ns // 2 for at in releases
    ]  # from the grid through the first
    return first + min(lags)


def entered_at(times: Sequence[int], rows: Sequence[int], at: int) -> tuple[int, int]:
    """When, and in which event, the handler's run entered that was under way at a time."""
    place = bisect_right(times, at) - 1
    return times[place], rows[place]
