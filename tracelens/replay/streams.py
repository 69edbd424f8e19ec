"""The records of one stream, and what the making of all scripts has in common."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

KEEP_ACT: Final = 1
KEEP_DUE: Final = 2


@dataclass(frozen=True, slots=True)
class Stream:
    """The records of one stream, as lists.

    `bounds[k]` is the place of the first record of stretch k; the last bound is their number.
    `whole_ns` is all that it ran.
    """

    code: list[int]
    arg: list[int]
    time: list[int]
    ran: list[int]
    more: list[int]
    row: list[int]
    bounds: list[int]
    whole_ns: int

    def ran_by(self, stretch: int) -> int:
        """What it had run at the end of a stretch."""
        following = self.bounds[stretch + 1]
        return self.ran[following] if following < len(self.ran) else self.whole_ns


@dataclass(frozen=True, slots=True)
class Around:
    """What the scripts of all tasks have in common.

    `machine` gives the engine's number of a task, −1 for one that is idle or opaque. `kept` says
    of each event row whether the release or activation in it was an act (KEEP_ACT) or the
    tick's (KEEP_DUE). `tell` is the place of an event row in the table of events told again.
    `floods` gives the queue that a mark tells to be full. `spun` are (task, begin) of the waits for
    a lock that were spun. `enters` are the times and event rows at which each handler entered.
    `switch_cap` is the longest time before a start that can be a switch.
    """

    locks: int
    queues: int
    machine: Sequence[int]
    kept: bytearray
    tell: Callable[[int], int]
    word: Callable[[int], int]
    floods: dict[int, int]
    spun: frozenset[tuple[int, int]]
    switch_cap: int
    enters: dict[int, tuple[list[int], list[int]]]
