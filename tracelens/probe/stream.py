"""From the probe's stream, piece by piece, to the lines of an event log."""

import re
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tracelens.log.render import VERSION_LINE
from tracelens.probe.frames import Frames, Integers, take_apart
from tracelens.probe.records import COUNT, LOST, heading, lines, records

Flags = NDArray[np.bool_]

# phase id=o7 name="warm up"
_PHASE: Final = re.compile(r'phase id=o(\d+) name="([^"]*)"')
_BEGIN: Final = VERSION_LINE.removeprefix("#")
_NO_WORD: Final = re.compile(r"[\s,\"]")
_NO_LINE: Final = re.compile(r"[\x00-\x1f\x7f]")
_MOST_REST: Final = 1 << 16
_HALF: Final = 1 << 31
_REMEMBERED: Final = 1 << 16
"""Records among which a repeated one is looked for: more than a channel's own buffers hold."""


@dataclass(slots=True)
class Counters:
    """What came so far.

    `events` written, `lost` between them, frames `damaged`, records that came `repeated`, and how
    often the probe `begins`.
    """

    events: int = 0
    lost: int = 0
    damaged: int = 0
    repeated: int = 0
    begins: int = 0


@dataclass(slots=True)
class _Place:
    """Where one core's records stand: the number of the next one, and whether that is sure."""

    following: int
    counted: bool
    time: int


@dataclass(slots=True)
class Stream:
    """Takes pieces of a stream as they come and gives the log's lines.

    Records that a core numbers and that did not arrive become `lost` events; a piece that the
    channel sends twice is taken once. A probe that begins again begins a new boot in the log.
    """

    counters: Counters = field(default_factory=Counters)
    _rest: bytes = b""
    _headed: bool = False
    _asked: list[str] | None = field(default_factory=list)
    """Declarations since the probe said that it begins; None if it does not."""
    _phases: dict[int, str] = field(default_factory=dict)
    _cores: dict[int, _Place] = field(default_factory=dict)
    _recent: Integers = field(default_factory=lambda: np.zeros(0, np.int64))

    def feed(self, piece: bytes) -> bytes:
        """The lines that this piece completes."""
        frames = take_apart(self._rest + piece)
        # Without a zero for so long this is no stream of frames; what is kept stays bounded.
        self._rest = frames.rest[-_MOST_REST:]
        self.counters.damaged += frames.damaged
        repeated = self._repeated(frames)
        out, done = [], 0
        for place, text in frames.texts:
            until = int(np.searchsorted(frames.place, place))
            out.append(self._events(frames, repeated, done, until))
            done = until
            out.append(self._declaration(text))
        out.append(self._events(frames, repeated, done, len(frames.place)))
        return b"".join(out)

    def end(self) -> bytes:
        """The lines that were held back: declarations that no record has followed."""
        return self._begin() if self._asked else b""

    def gap(self) -> None:
        """The channel was away: the records' own numbers will tell what is missing."""

    def _repeated(self, frames: Frames) -> Flags:
        """Frames that came before: the same record, or a count beside one.

        No two records of a core agree in sequence and time until the counter has wrapped.
        """
        key = frames.core << 40 | frames.sequence << 32 | frames.time
        is_count = frames.code == COUNT
        known = np.concatenate((self._recent, key[~is_count]))
        first = np.zeros(len(known), np.bool_)
        first[np.unique(known, return_index=True)[1]] = True
        repeated = np.zeros(len(key), np.bool_)
        repeated[~is_count] = ~first[len(self._recent) :]
        self._recent = known[first][-_REMEMBERED:]
        self.counters.repeated += int(repeated.sum())
        for core in np.unique(frames.core[is_count]):
            rows = np.flatnonzero(frames.core == core)
            counts = is_count[rows]
            # The record after a count tells, else the one before it.
            after = np.searchsorted(np.flatnonzero(~counts), np.flatnonzero(counts))
            of_record = repeated[rows[~counts]]
            if len(of_record):
                repeated[rows[counts]] = of_record[np.minimum(after, len(of_record) - 1)]
        return repeated

    def _declaration(self, text: str) -> bytes:
        text = _NO_LINE.sub("_", text)
        phase = _PHASE.fullmatch(text)
        if text == _BEGIN:
            self._asked = []
        elif phase:
            self._phases[int(phase[1])] = _NO_WORD.sub("_", phase[2]) or f"o{phase[1]}"
        elif self._asked is not None:
            self._asked.append(text)
        else:
            return f"#{text}\n".encode()
        return b""

    def _begin(self) -> bytes:
        """A new log, or a new boot of it, with what was declared since the probe began."""
        declared = "".join(f"#{text}\n" for text in self._asked or ())
        self._asked, self._headed = None, False
        self._cores.clear()
        self.counters.begins += 1
        return f"{VERSION_LINE}\n{declared}".encode()

    def _events(self, frames: Frames, repeated: Flags, first: int, last: int) -> bytes:
        rows = np.arange(first, last)[~repeated[first:last]]
        if not (frames.code[rows] != COUNT).any():
            return b""
        head = b""
        if self._asked is not None:
            if self._goes_on(frames, rows):
                self._asked = None  # the channel repeated the declarations
            else:
                head = self._begin()
        rows = rows[~self._late(frames, rows)]
        code, core = frames.code[rows], frames.core[rows]
        is_record = code != COUNT
        missing = np.zeros(len(rows), np.int64)
        for each in np.unique(core):
            own = np.flatnonzero(core == each)
            missing[own] = self._missing(int(each), frames, rows[own])
        # A `lost` line stands before the record that showed it, at its time; one that a count
        # shows at the time of the record before, since a count has none.
        every = np.arange(len(rows))
        latest = np.maximum.accumulate(np.where(is_record, every, 0))
        times = frames.time[rows][latest]
        place = np.concatenate((every[missing > 0] * 2, every[is_record] * 2 + 1))
        place.sort()
        row, lost = place // 2, place % 2 == 0
        taken = records(
            times[row],
            core[row],
            np.where(lost, LOST, code[row]),
            np.where(lost, 0, frames.subject[rows][row]),
            np.where(lost, missing[row], frames.value[rows][row]),
            lost | frames.valued[rows][row],
        )
        self.counters.lost += int(missing.sum() + frames.value[rows][code == LOST].sum())
        self.counters.events += int(np.count_nonzero(is_record & (code != LOST)))
        if not self._headed:
            head += heading()
            self._headed = True
        return head + lines(taken, self._phases)

    def _goes_on(self, frames: Frames, rows: Integers) -> bool:
        """Whether the first of these records follows what its core recorded before."""
        row = rows[frames.code[rows] != COUNT][0]
        place = self._cores.get(int(frames.core[row]))
        if place is None:
            return False
        ahead = (int(frames.time[row]) - place.time) % (1 << 32)
        return ahead < 1 << 31 and (int(frames.sequence[row]) - place.following) % 256 < 64

    def _late(self, frames: Frames, rows: Integers) -> Flags:
        """Records that come after younger ones of their core: their loss has been told already.

        That happens when a piece comes twice, damaged at first. In time and sequence both they
        stand before the youngest record so far.
        """
        late = np.zeros(len(rows), np.bool_)
        for core in np.unique(frames.core[rows]):
            own = np.flatnonzero(frames.core[rows] == core)
            place = self._cores.get(int(core))
            is_record = frames.code[rows[own]] != COUNT
            sequence = frames.sequence[rows[own]]
            time = frames.time[rows[own]]
            # A count has no time of its own: it is judged by its sequence alone.
            last_record = np.maximum.accumulate(np.where(is_record, np.arange(len(own)), -1))
            first = place.time if place else int(time[is_record][0]) if is_record.any() else 0
            time = np.where(last_record < 0, first, time[last_record])
            steps = (np.diff(time, prepend=first) + _HALF) % (2 * _HALF) - _HALF
            axis = np.cumsum(steps)
            youngest = np.maximum(np.maximum.accumulate(axis), 0)
            leads = is_record & (axis == youngest)
            holder = np.maximum.accumulate(np.where(leads, np.arange(1, len(own) + 1), 0))
            holder = np.concatenate(([0], holder[:-1]))
            begin = (place.following if place else int(sequence[0])) - 1
            of_youngest = np.concatenate(([begin], sequence))[holder]
            behind = (sequence - of_youngest - 1) % 256 >= 128
            late[own] = behind & np.where(is_record, axis < youngest, True)
        self.counters.repeated += int(late.sum())
        return late

    def _missing(self, core: int, frames: Frames, rows: Integers) -> Integers:
        """How many records of one core are missing before each of its frames.

        The sequence tells them modulo 256; each count puts that right. Before the first count of a
        stream nothing is known to be missing beyond what the sequence tells.
        """
        sequence, value = frames.sequence[rows], frames.value[rows]
        is_count = frames.code[rows] == COUNT
        place = self._cores.get(core)
        begin = place.following if place else int(value[0] if is_count[0] else sequence[0])
        counted = place.counted if place else bool(is_count[0])
        before = np.concatenate(([begin], sequence[:-1] + ~is_count[:-1]))
        missing = (sequence - before) % 256
        number = begin + np.cumsum(missing + np.concatenate(([0], ~is_count[:-1])))
        for row in np.flatnonzero(is_count):  # one pass: counts are one frame in 64
            off = int(value[row] - number[row])
            if off:
                # Less than what came already: the target began again and its head was damaged.
                number[row:] += off
                missing[row] = max(0, missing[row] + off) if counted else 0
            counted = True
        seen = rows[~is_count]
        self._cores[core] = _Place(
            int(number[-1] + (not is_count[-1])),
            counted,
            int(frames.time[seen[-1]]) if len(seen) else place.time if place else 0,
        )
        return missing
