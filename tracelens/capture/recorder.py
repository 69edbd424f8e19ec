"""From a channel into a file, line by line, until it is enough.

What has come is in the file at once and on the disk within a second: a capture that is killed loses
no more than the line, or the frame, that was still coming.
"""

import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from io import RawIOBase
from typing import Final

from tracelens.capture.channels import Channel, VanishedError
from tracelens.capture.intake import Intake
from tracelens.capture.watch import Watch
from tracelens.errors import TraceLensError

SYNC_S: Final = 0.5
"""Seconds between two times that the file is put on the disk."""

_RETRY_S: Final = 0.25


@dataclass(frozen=True, slots=True)
class Bounds:
    """What begins and ends a capture; None or '' does not.

    Before `from_mark` is marked only declarations are kept.
    """

    from_mark: str = ""
    seconds: float | None = None
    octets: int | None = None
    mark: str = ""
    miss: bool = False


@dataclass(frozen=True, slots=True)
class Progress:
    """How a capture stands: seconds, events and lost so far, events a second, load, away or not."""

    seconds: float
    events: int
    lost: int
    damaged: int
    rate: float
    load: float | None
    away: bool


@dataclass(frozen=True, slots=True)
class Captured:
    """How it ended: the reason in words, octets written, gaps of the channel."""

    reason: str
    octets: int
    gaps: int


def record(
    channel: Channel,
    reopen: Callable[[], Channel],
    intake: Intake,
    file: RawIOBase,
    until: Bounds,
    show: Callable[[Progress], None] = lambda _progress: None,
) -> Captured:
    """Take in what the channel sends until `until`, its final end, or an interrupt (Ctrl-C).

    A channel that vanishes is opened again by `reopen` as long as it takes; the log says when it
    was away. `file` must be unbuffered.
    """
    return _Recorder(channel, reopen, intake, file, until, show).run()


class _Recorder:
    def __init__(
        self,
        channel: Channel,
        reopen: Callable[[], Channel],
        intake: Intake,
        file: RawIOBase,
        until: Bounds,
        show: Callable[[Progress], None],
    ) -> None:
        self._channel: Channel | None = channel
        self._reopen, self._intake, self._file = reopen, intake, file
        self._until, self._show = until, show
        self._watch = Watch()
        self._waiting = until.from_mark.encode()
        self._begin = self._synced = self._shown = time.monotonic()
        self._events_shown = self._octets = self._gaps = 0

    def run(self) -> Captured:
        try:
            reason = self._go()
        except KeyboardInterrupt:
            reason = "interrupted"
        finally:
            self._write(self._intake.end())
            os.fsync(self._file.fileno())
            if self._channel is not None:
                self._channel.close()
        return Captured(reason, self._octets, self._gaps)

    def _go(self) -> str:
        while True:
            try:
                piece = self._channel.read() if self._channel else b""
            except VanishedError as gone:
                if gone.final:
                    return "the input ended"
                piece = b""
                self._away()
            if piece:
                self._write(self._intake.feed(piece))
            enough = self._enough()
            if enough:
                return enough
            self._now_and_then()

    def _write(self, lines: bytes) -> None:
        if self._waiting:
            lines = self._from_mark(lines)
        if lines:
            self._file.write(lines)
            self._octets += len(lines)
            self._watch.see(lines)

    def _from_mark(self, lines: bytes) -> bytes:
        """Of the lines those that are no events, and all from the awaited mark on."""
        kept = []
        whole = lines.splitlines(keepends=True)
        for at, line in enumerate(whole):  # one pass: a live stream's piece
            if not line[:1].isdigit():
                kept.append(line)
            elif line.split(b",")[2:4] == [b"mark", self._waiting]:
                self._waiting = b""
                return b"".join((*kept, *whole[at:]))
        return b"".join(kept)

    def _away(self) -> None:
        """Say in the log that the channel vanished, and wait for it."""
        self._gaps += 1
        if self._channel is not None:
            self._channel.close()
        self._channel = None
        gone = datetime.now(UTC)
        self._write(self._intake.end())
        self._intake.gap()
        while not self._enough():
            try:
                self._channel = self._reopen()
            except TraceLensError:
                time.sleep(_RETRY_S)
                self._now_and_then()
                continue
            back = datetime.now(UTC)
            away = f"{gone:%H:%M:%S} to {back:%H:%M:%S} UTC"
            self._write(f'#note text="the channel was away from {away}"\n'.encode())
            return

    def _enough(self) -> str:
        until = self._until
        if until.seconds is not None and time.monotonic() - self._begin >= until.seconds:
            return "the time was up"
        if until.octets is not None and self._octets >= until.octets:
            return "the size was reached"
        if until.mark and until.mark in self._watch.marks:
            return f"{until.mark} was marked"
        if until.miss and self._watch.misses:
            return "a job was late"
        return ""

    def _now_and_then(self) -> None:
        now = time.monotonic()
        if now - self._synced >= SYNC_S:
            os.fsync(self._file.fileno())
            self._synced = now
        if now - self._shown >= 0.5:
            counters = self._intake.counters
            self._show(
                Progress(
                    seconds=now - self._begin,
                    events=counters.events,
                    lost=counters.lost,
                    damaged=counters.damaged,
                    rate=(counters.events - self._events_shown) / (now - self._shown),
                    load=self._watch.take_load(),
                    away=self._channel is None,
                )
            )
            self._shown, self._events_shown = now, counters.events
