"""The bytes of one part of a log, wherever they are: in memory, in a file, or some of each."""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from tracelens.errors import LogError

_WINDOW: Final = 1 << 16
_HINT: Final = "read a copy, or --follow a log that is still written"


@dataclass(frozen=True, slots=True)
class OnDisk:
    """A file that is open for reading, by its descriptor; messages call it `name`."""

    name: str
    descriptor: int


@dataclass(frozen=True, slots=True)
class Stretch:
    """Bytes [start, stop) of what holds them."""

    holder: bytes | OnDisk
    start: int
    stop: int

    def fill(self, at: int, view: memoryview) -> int:
        """Put the bytes from `at` on, counted from `start`, into `view`; how many those were."""
        count = min(len(view), self.stop - self.start - at)
        first = self.start + at
        if isinstance(self.holder, bytes):
            view[:count] = memoryview(self.holder)[first : first + count]
            return count
        done = 0
        while done < count:
            got = os.preadv(self.holder.descriptor, [view[done:count]], first + done)
            if not got:
                raise LogError(
                    f"became shorter while it was read: found {first + done} bytes, expected "
                    f"{self.stop}",
                    place=self.holder.name,
                    hint=_HINT,
                )
            done += got
        return count


class Text:
    """Bytes that are read a window at a time, so that a large file need not be in memory.

    Bytes are counted from 0, lines from 1. Raises `LogError` if a file became shorter meanwhile.
    """

    def __init__(self, *stretches: Stretch) -> None:
        self.stretches = stretches
        self.size = sum(one.stop - one.start for one in stretches)

    @property
    def in_memory(self) -> int:
        """How many of the bytes are in memory."""
        return sum(one.stop - one.start for one in self.stretches if isinstance(one.holder, bytes))

    @property
    def is_cut(self) -> bool:
        """Whether it ends within a line."""
        return self.read(max(0, self.size - 1), self.size) not in (b"", b"\n")

    @classmethod
    def of(cls, data: bytes) -> "Text":
        """Bytes in memory."""
        return cls(Stretch(data, 0, len(data)))

    def changed(self) -> LogError:
        """The error of a file in which other lines were found when it was read again."""
        files = [one.holder.name for one in self.stretches if isinstance(one.holder, OnDisk)]
        return LogError(
            "was changed while it was read: found other lines, expected those of a moment before",
            place=files[0] if files else None,
            hint=_HINT,
        )

    def fill(self, at: int, view: memoryview) -> int:
        """Put the bytes from `at` on into `view`, as many as fit and as there are; how many."""
        done = 0
        for one in self.stretches:
            length = one.stop - one.start
            if at < length and done < len(view):
                got = one.fill(at, view[done:])
                done += got
                at += got
            at -= length
        return done

    def read(self, start: int, stop: int) -> bytes:
        """The bytes [start, stop), as far as there are any."""
        data = bytearray(max(0, min(stop, self.size) - start))
        self.fill(start, memoryview(data))
        return bytes(data)

    def line_end(self, start: int) -> int:
        """Where the line feed at or after `start` stands; `size` if there is none."""
        for at in range(start, self.size, _WINDOW):
            found = self.read(at, at + _WINDOW).find(b"\n")
            if found >= 0:
                return at + found
        return self.size

    def last_line(self) -> bytes:
        """What follows the last line feed."""
        for length in (_WINDOW, self.size):
            tail = self.read(max(0, self.size - length), self.size)
            if b"\n" in tail:
                break
        return tail[tail.rfind(b"\n") + 1 :]

    def line(self, number: int) -> str:
        """The text of a line, for a message; without its end."""
        start, before = 0, number - 1
        while before:
            window = self.read(start, start + _WINDOW)
            ends = window.count(b"\n")
            if ends < before and window:
                before, start = before - ends, start + len(window)
                continue
            at = -1
            for _ in range(before):
                at = window.find(b"\n", at + 1)
            start, before = start + at + 1, 0
        return self.read(start, self.line_end(start)).decode(errors="replace").rstrip("\r")

    def without_first_line(self) -> tuple["Text", "Text"]:
        """The first line with its line feed, and the rest with a line feed in its place."""
        end = min(self.line_end(0) + 1, self.size)
        newline = b"\n" if self.read(end - 1, end) == b"\n" else b""
        rest = (Stretch(newline, 0, len(newline)), *self._from(end))
        return Text.of(self.read(0, end)), Text(*rest)

    def _from(self, at: int) -> Sequence[Stretch]:
        kept = []
        for one in self.stretches:
            length = one.stop - one.start
            if at < length:
                kept.append(Stretch(one.holder, one.start + max(0, at), one.stop))
            at -= length
        return kept
