"""The words of errors and doubts about a log as a whole."""

from collections.abc import Iterable

from tracelens.errors import LogError
from tracelens.log.clock import late_ticks
from tracelens.model.system import Clock
from tracelens.units import NS_PER_MS, NS_PER_S, NS_PER_US

_DEFAULT_LATE = Clock(hz=1).late_ns


def not_a_log(name: str, data: bytes) -> LogError:
    """Nothing in the file is an event, a declaration or the header."""
    return LogError(
        f"not an event log: found {beginning(data)}, expected '#tracelens 1'",
        place=f"{name}:1",
        hint="sample_traces/FORMAT.md describes the event log",
    )


def beginning(data: bytes) -> str:
    """The begin of the first line in quotes, or that it is no text."""
    start = data[:40].split(b"\n")[0].decode(errors="replace").rstrip("\r")
    return repr(start) if start.isprintable() and "\ufffd" not in start else "what is no text"


def lateness(clocks: Iterable[Clock]) -> list[str]:
    """A sentence for each `late_us` that is too long for the counter it is said of."""
    return [
        f"late_us={clock.late_ns // NS_PER_US} of #clock is longer than a quarter of the counter's "
        f"range; records up to {_duration(late_ticks(clock), clock)} late are put in order"
        for clock in clocks
        if clock.late_ns != _DEFAULT_LATE
        and late_ticks(clock) < clock.late_ns * clock.hz // NS_PER_S
    ]


def silent(place: str, ticks: int, clock: Clock) -> str:
    """Half the counter's range without a record: a wrap more or less would not show."""
    return (
        f"{place}: nothing for {_duration(ticks, clock)} before this line; the counter wraps every "
        f"{_duration(2**clock.bits, clock)}, so a longer silence would look the same"
    )


def stepped_back(places: list[str]) -> str:
    """Restarts that no header tells of."""
    more = ", …" if len(places) > 5 else ""
    return (
        f"time steps back by more than late_us at {', '.join(places[:5])}{more}: "
        "taken as a restart of the target (if the counter wraps there, declare its bits in #clock)"
    )


def unequal_boots(fewest: int, most: int) -> str:
    """Files of one core each, in which the target restarts more or less often."""
    return (
        f"the files of the cores have {fewest} to {most} boots; "
        "they are matched in order, which may be wrong"
    )


def _duration(ticks: int, clock: Clock) -> str:
    ns = ticks * NS_PER_S // clock.hz
    return f"{ns / NS_PER_S:.3f} s" if ns >= NS_PER_S else f"{ns / NS_PER_MS:.3f} ms"
