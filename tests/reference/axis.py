"""Lays the events on one time axis: wraps, late records, restarts, sleep of the counter."""

from dataclasses import dataclass

from tests.reference.lines import Clock, Line, NotALogError, Text


@dataclass
class Event:
    """One event. `time` is in ns from the first event of the log; `boot` counts from 0."""

    time: int
    core: int
    word: str
    subject: str
    value: str
    line: int
    boot: int


@dataclass
class Axis:
    events: list[Event]  # in order of time, equal times in the order of the log
    boot_starts: list[int]  # the time at which each boot begins
    start_ticks: int


class Counter:
    """One counter, unwrapped against the greatest time seen on it."""

    def __init__(self, clock: Clock) -> None:
        self.clock = clock
        self.span = 1 << clock.bits
        self.greatest: int | None = None  # unwrapped, without the ticks slept
        self.slept = 0

    def is_within_lateness(self, ticks: int) -> bool:
        return ticks * 1_000_000 <= self.clock.late_us * self.clock.hz

    def unwrap(self, ticks: int) -> int | None:
        """The unwrapped ticks, or None if the counter began anew: the target restarted."""
        if self.greatest is None:
            self.greatest = ticks
            return ticks
        step = ticks - self.greatest % self.span
        if step >= 0:
            missing = self.span - step
            if step * 2 > self.span and self.is_within_lateness(missing):
                return self.greatest - missing  # a late record from before the wrap
            self.greatest += step
            return self.greatest
        if -step * 2 > self.span:
            self.greatest += self.span + step
            return self.greatest
        if self.is_within_lateness(-step):
            return self.greatest + step
        return None


def to_ns(ticks: int, hz: int) -> int:
    """Whole seconds and remainder apart, as the definition asks; negative ticks round down too."""
    seconds, rest = divmod(ticks, hz)
    return seconds * 1_000_000_000 + rest * 1_000_000_000 // hz


def lay_out(text: Text) -> Axis:
    """Unwrap, split into boots, sort each boot by time, and lay the boots end to end."""
    if not text.lines:
        raise NotALogError("the log has no events")
    boots = _boots(text)
    events: list[Event] = []
    starts: list[int] = []
    begin = 0
    for boot, rows in enumerate(boots):
        shared = text.clock
        assert shared is not None
        if text.core_clocks:
            stamped = [
                (to_ns(ticks, text.core_clocks.get(line.core, shared).hz), line)
                for ticks, line in rows
            ]
        else:
            first = min(ticks for ticks, _ in rows)
            stamped = [(to_ns(ticks - first, shared.hz), line) for ticks, line in rows]
        zero = min(time for time, _ in stamped)
        stamped.sort(key=lambda pair: pair[0])
        starts.append(begin)
        for time, line in stamped:
            events.append(
                Event(
                    begin + time - zero,
                    line.core,
                    line.word,
                    line.subject,
                    line.value,
                    line.number,
                    boot,
                )
            )
        begin = events[-1].time
    return Axis(events, starts, text.lines[0].ticks)


def _boots(text: Text) -> list[list[tuple[int, Line]]]:
    """The lines of each boot with their unwrapped ticks."""
    boots: list[list[tuple[int, Line]]] = []
    counters: dict[int | None, Counter] = {}
    boot_mark = -1
    for line in text.lines:
        which = line.core if line.core in text.core_clocks else None
        clock = text.clock if which is None else text.core_clocks[which]
        assert clock is not None
        if line.boot_mark != boot_mark:
            boot_mark = line.boot_mark
            counters = {}
            boots.append([])
        counter = counters.setdefault(which, Counter(clock))
        ticks = counter.unwrap(line.ticks)
        if ticks is None:
            counters = {which: Counter(clock)}
            counter = counters[which]
            ticks = counter.unwrap(line.ticks)
            boots.append([])
        if line.word == "wake" and line.value.isdigit():
            counter.slept += int(line.value)
        assert ticks is not None
        boots[-1].append((ticks + counter.slept, line))
    return boots
