"""A value that changes at moments and stays the same in between."""

from bisect import bisect_right
from collections.abc import Iterator
from typing import Generic, TypeVar

Value = TypeVar("Value")


class History(Generic[Value]):
    """Piecewise constant in time; the value at a change is the new one."""

    def __init__(self, first: Value) -> None:
        self.times = [0]
        self.values = [first]

    def set(self, time: int, value: Value) -> None:
        """From `time` on it is `value`; `time` is never before the last change."""
        if time < self.times[-1]:
            raise ValueError(f"a change at {time} behind the one at {self.times[-1]}")
        if time == self.times[-1]:
            self.values[-1] = value
        else:
            self.times.append(time)
            self.values.append(value)

    def at(self, time: int) -> Value:
        return self.values[bisect_right(self.times, time) - 1]

    @property
    def last(self) -> Value:
        return self.values[-1]

    @property
    def last_change(self) -> int:
        return self.times[-1]

    def intervals(self, end: int) -> Iterator[tuple[int, int, Value]]:
        """Maximal intervals of equal value that tile [0, end); none is empty."""
        start, value = self.times[0], self.values[0]
        for time, new in zip(self.times[1:], self.values[1:], strict=True):
            if new == value or time >= end:
                continue
            if time > start:
                yield start, time, value
            start, value = time, new
        if end > start:
            yield start, end, value
