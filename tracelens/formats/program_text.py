"""The small language of a task's body: one step a string.

run 200                 execute for 200 µs
run 300..500            …for a time drawn uniformly, both ends included
run 300..2000 tail      …with a long tail: bounded Pareto, shape 3
run 300..2000 tail 1.5  …of another shape; the smaller, the heavier the tail
lock flash_bus          unlock flash_bus
send row_queue          receive row_queue
suspend 100             wait for something outside, for a time written as after `run`
suspend 100..200 for adc    …and say what for
activate archive        activate a task that has activation = "activate"
mark row_done           mark row_done 17      mark calibrate begin
"""

import re
from collections.abc import Sequence
from typing import Final, get_args

from tracelens.errors import SystemFileError
from tracelens.model.taskset import Duration, Step, StepKind
from tracelens.units import us_to_ns

KINDS: Final[tuple[str, ...]] = get_args(StepKind)
PAUSE: Final = "pause"
"""What a task waits for in `suspend` when nothing is said."""

# "300", "300..500", "300..2000 tail", "300.5..2000 tail 1.5"
_DURATION: Final = re.compile(
    r"(?P<low>\d+(?:\.\d+)?)(?:\s*\.\.\s*(?P<high>\d+(?:\.\d+)?))?"
    r"(?:\s+(?P<tail>tail)(?:\s+(?P<shape>\d+(?:\.\d+)?))?)?"
)
_SHAPE: Final = 3.0
_TOKEN: Final = re.compile(r'[^\s,"]+')


class _MistakeError(Exception):
    """What is wrong with one step or duration."""


def duration(text: str | int | float, where: str, place: str | None = None) -> Duration:
    """A duration as written; microseconds become nanoseconds. Raises `SystemFileError`."""
    try:
        return _duration(str(text))
    except _MistakeError as mistake:
        raise SystemFileError(f"{where}: {mistake}", place=place) from None


def bytes_of(text: str | int, where: str, place: str | None = None) -> Duration:
    """An amount of bytes, written like a duration; not scaled."""
    drawn = duration(text, where, place)
    return Duration(drawn.low_ns // 1000, drawn.high_ns // 1000, drawn.tail)


def body(steps: Sequence[str], where: str, place: str | None = None) -> tuple[Step, ...]:
    """Steps as written → steps. Raises `SystemFileError` that names the step."""
    found = []
    for number, text in enumerate(steps, 1):
        try:
            found.append(_step(text))
        except _MistakeError as mistake:
            raise SystemFileError(f"{where}: step {number}: {mistake}", place=place) from None
    return tuple(found)


def _duration(text: str) -> Duration:
    match = _DURATION.fullmatch(text.strip())
    if match is None:
        raise _MistakeError(
            f"found {text!r}, expected a time in µs: 300, 300..500 or 300..2000 tail"
        )
    low = us_to_ns(match["low"])
    high = low if match["high"] is None else us_to_ns(match["high"])
    if high < low:
        raise _MistakeError(f"found {text!r}: the second time is smaller than the first")
    tail = None if match["tail"] is None else float(match["shape"] or _SHAPE)
    if tail is not None and (tail <= 0 or low == 0):
        raise _MistakeError(f"found {text!r}: a tail needs a shape and a first time above 0")
    return Duration(low, high, tail)


def _step(text: str) -> Step:
    kind, _, rest = text.strip().partition(" ")
    rest = rest.strip()
    if kind == "run":
        return Step("run", time=_positive(rest))
    if kind == "suspend":
        time, _, what = rest.partition(" for ")
        return Step("suspend", _word(what.strip() or PAUSE), _positive(time))
    if kind == "mark":
        word, _, value = rest.partition(" ")
        return Step("mark", _word(word), value=_word(value.strip()) if value else None)
    for known in ("lock", "unlock", "send", "receive", "activate"):
        if kind == known:
            return Step(known, _word(rest))
    raise _MistakeError(f"found {text!r}, expected one of {', '.join(KINDS)}")


def _positive(text: str) -> Duration:
    time = _duration(text)
    if time.low_ns == 0:
        raise _MistakeError(f"found {text!r}, expected a time above 0")
    return time


def _word(text: str) -> str:
    if not _TOKEN.fullmatch(text):
        raise _MistakeError(f"found {text!r}, expected one word")
    return text
