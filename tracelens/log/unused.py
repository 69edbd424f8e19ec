"""Which lines of a log were not used, and why: counted by reason, with the first line numbers."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import polars as pl

from tracelens.errors import LogError
from tracelens.model.events import EVENT_WORDS
from tracelens.model.log import UNUSED

FIRST_LINES: Final = 5


class Reason(NamedTuple):
    """Why a line was not used, in the words of the report, and what would have been."""

    text: str
    expected: str


FEW_FIELDS = Reason("fewer than 3 fields", "time,core,event,subject,value")
MANY_FIELDS = Reason("more than 5 fields", "time,core,event,subject,value")
BAD_TIME = Reason("time is not a number", "a whole number of ticks from 0 to 2^64 - 1")
BAD_CORE = Reason("core is not a number from 0 to 255", "a whole number from 0 to 255")
BAD_EVENT = Reason("unknown event word", f"one of {', '.join(EVENT_WORDS)}")
BAD_WORD = Reason(
    "a subject or value that is no word",
    "no quote, no control character, no blank at either end",
)
NOT_UTF8 = Reason("not UTF-8", "text in UTF-8")
TORN = Reason("torn last line", "a line end after the last line")
BEYOND_BITS = Reason("time is beyond the counter's bits", "less than 2^bits, as #clock declares")
NO_SUBJECT = Reason("no subject", "what the event is about, or - for 'no task'")
NO_LOCK = Reason("no lock named", "the lock's id as the value")
NO_QUEUE = Reason("no queue named", "the queue's id as the value")
BAD_PRIORITY = Reason("priority is not a whole number", "a whole number as the value")
BAD_STACK = Reason("stack is not a number of bytes", "a whole number of bytes as the value")
BAD_COUNT = Reason("lost without a count", "how many events are missing, as the value")
BAD_MASK = Reason("mask is neither irq nor sched", "irq or sched as the value")
BAD_SLEEP = Reason("ticks slept are not a number", "a whole number of ticks, or no value")
NO_DECLARATION = Reason(
    "not a declaration", "#WORD key=value …, or a blank after the # of a remark"
)
NO_PAIR = Reason("a declaration that is not key=value", 'key=value, or key="a value with blanks"')
NO_ID = Reason("a declaration without id", "id=…")
BAD_VALUE = Reason("a declared value does not fit", "")


class Place(NamedTuple):
    """A line of a part, with what was found there; '' means: look the line up."""

    part: int
    line: int
    found: str
    expected: str


@dataclass(slots=True)
class _Tally:
    count: int
    first: list[Place]


class Unused:
    """Collects the lines that were not used. Places are (index of the part, 1-based line)."""

    def __init__(self) -> None:
        self._by_reason: dict[str, _Tally] = {}
        self._last: dict[str, tuple[int, int]] = {}

    def __bool__(self) -> bool:
        return bool(self._by_reason)

    def add(self, reason: Reason, part: int, lines: Iterable[int] | np.ndarray) -> None:
        """Count every line of `lines` (in ascending order, of one part) under `reason`."""
        numbers = np.asarray(lines if isinstance(lines, np.ndarray) else list(lines))
        if len(numbers):
            first = [Place(part, int(n), "", reason.expected) for n in numbers[:FIRST_LINES]]
            self._count(reason, len(numbers), first)

    def add_found(self, reason: Reason, part: int, line: int, found: str, expected: str) -> None:
        """Count a line for a piece of it, once however many pieces of it are wrong in that way.

        `expected`: what was expected of that piece, '' for what the reason says.
        """
        if self._last.get(reason.text) != (part, line):
            self._last[reason.text] = (part, line)
            self._count(reason, 1, [Place(part, line, found, expected or reason.expected)])

    def _count(self, reason: Reason, count: int, first: list[Place]) -> None:
        tally = self._by_reason.setdefault(reason.text, _Tally(0, []))
        tally.count += count
        tally.first = sorted(tally.first + first, key=lambda place: place[:2])[:FIRST_LINES]

    def first(self) -> tuple[str, Place] | None:
        """The first line of the log that was not used, with its reason."""
        firsts = [(tally.first[0], text) for text, tally in self._by_reason.items()]
        if not firsts:
            return None
        place, text = min(firsts, key=lambda item: item[0][:2])
        return text, place

    def table(self, sources: tuple[str, ...]) -> pl.DataFrame:
        """The table `model.log.UNUSED`, most frequent reason first."""
        tallies = sorted(self._by_reason.items(), key=lambda item: (-item[1].count, item[0]))
        return pl.DataFrame(
            {
                "reason": [text for text, _ in tallies],
                "count": [tally.count for _, tally in tallies],
                "first_lines": [
                    [
                        f"{sources[place.part]}:{place.line}"
                        if len(sources) > 1
                        else f"{place.line}"
                        for place in tally.first
                    ]
                    for _, tally in tallies
                ],
            },
            schema=UNUSED,
        )


def refusal(text: str, place: Place, source: str, line: str) -> LogError:
    """The error of --strict: `file:line: what is wrong: found …, expected …`."""
    found = place.found or line
    shown = found if len(found) <= 60 else f"{found[:59]}…"
    return LogError(
        f"{text}: found {shown!r}, expected {place.expected}",
        place=f"{source}:{place.line}",
        hint="without --strict the line is left out, counted and reported",
    )
