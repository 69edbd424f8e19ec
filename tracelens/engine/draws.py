"""What is drawn, keyed by (seed, task, job): a change of policy changes none of it.

Each drawn quantity of a program (its jitter, the n-th step, …) has a stream of its own, and job
n takes the n-th number of every stream, whenever it happens to run. The generator is Philox
(Salmon, Moraes, Dror & Shaw, "Parallel Random Numbers: As Easy as 1, 2, 3", SC 2011) as numpy
provides it; only its raw 64-bit output is used, which numpy promises never to change.
"""

import hashlib
from typing import Final

import numpy as np

from tracelens.model.taskset import Duration

CHUNK: Final = 512
"""Draws made at once. A multiple of one must not change the stream, so any value will do."""

_UNIT: Final = 2.0**-53


class Stream:
    """The draws of one duration: `stream[n]` is job n's, in ticks, n from 0."""

    __slots__ = ("_bits", "_high", "_low", "_made", "_tail", "least")

    def __init__(self, duration: Duration, ticks: "TicksOf", least: int, *key: str | int) -> None:
        self._low = max(least, ticks(duration.low_ns))
        self._high = max(self._low, ticks(duration.high_ns))
        self._tail = duration.tail
        self.least = least
        self._made: list[int] = []
        text = "\0".join(str(part) for part in key)
        words = np.frombuffer(hashlib.blake2b(text.encode(), digest_size=16).digest(), "<u8")
        self._bits = np.random.Philox(key=words.astype(np.uint64))

    @property
    def constant(self) -> int | None:
        """The value, if every job has the same; else None."""
        return self._low if self._low == self._high else None

    def __getitem__(self, job: int) -> int:
        made = self._made
        while job >= len(made):
            made.extend(self._chunk())
        return made[job]

    def _chunk(self) -> list[int]:
        low, high = self._low, self._high
        unit = (self._bits.random_raw(CHUNK) >> np.uint64(11)).astype(np.float64) * _UNIT
        if self._tail is None:
            drawn = low + np.floor(unit * (high - low + 1))
        else:
            # Bounded Pareto by inversion: F(x) = (1 − (L/x)^a) / (1 − (L/H)^a).
            base = float(max(low, 1))
            share = 1.0 - (base / high) ** self._tail
            drawn = np.rint(base * (1.0 - unit * share) ** (-1.0 / self._tail))
        whole: list[int] = np.clip(drawn, low, high).astype(np.int64).tolist()
        return whole


class TicksOf:
    """Nanoseconds → counter ticks, to the nearest tick, in whole numbers."""

    __slots__ = ("hz",)

    def __init__(self, hz: int) -> None:
        self.hz = hz

    def __call__(self, ns: int) -> int:
        """Ticks nearest to a time."""
        return (2 * ns * self.hz + 1_000_000_000) // 2_000_000_000
