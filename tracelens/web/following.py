"""A log that grows: read again as it does, each reading a run of its own.

It is read whole each time. The rules of the log look ahead (a boot's end, a torn last line, the
grid of a period), so that an earlier part may read otherwise once more has come; a reading of
part and rest would then differ from that of the file. So that this does not keep the machine
busy, the next reading waits `PAUSES` times as long as the last one took.
"""

import os
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from tracelens.errors import LogError, TraceLensError
from tracelens.numbers import duration
from tracelens.plain import plain
from tracelens.reading import read_bytes
from tracelens.units import NS_PER_S
from tracelens.web.loading import prepared
from tracelens.web.shelf import Shelf

LIVE: Final = "live"
"""The readings of the log have the ids `live.1`, `live.2`, and so on."""

LEAST_PAUSE_S: Final = 1.0
PAUSES: Final = 4
_LOOK_S: Final = 0.25
_MARK: Final = 256  # bytes at the start and before the end by which a file is known again


@dataclass(frozen=True, slots=True)
class Status:
    """The newest reading, the last one that began anew, and what to say of it."""

    version: int = 0
    anew: int = 1
    pause_s: float = LEAST_PAUSE_S
    trouble: str = ""

    @property
    def said(self) -> str:
        """A sentence for the reader."""
        again = f"growing · read whole every {duration(self.pause_s * NS_PER_S)} at most"
        return f"{self.trouble} · {again}" if self.trouble else again


@dataclass(frozen=True, slots=True)
class _Seen:
    """A file as it was: who it is, how long, its first bytes and its last ones."""

    inode: tuple[int, int]
    changed_ns: int
    size: int
    head: bytes
    tail: bytes


class Follower:
    """Reads a log again and again, and puts each reading on the shelf."""

    def __init__(self, path: str | Path, system: str | Path | None = None) -> None:
        self.name = str(path)
        self._path = Path(path)
        self._system = system
        self._read_last: _Seen | None = None
        self._tried_last: _Seen | None = None
        self._status = Status()
        self._shelf = Shelf()

    @property
    def status(self) -> Status:
        """How it stands; one record, replaced as a whole."""
        return self._status

    def begin(self, shelf: Shelf) -> None:
        """Read the log for the first time. Raises `LogError` or another error of reading."""
        self._shelf = shelf
        self._read()

    def start(self) -> None:
        """Go on in a thread of its own, which ends with the program."""
        threading.Thread(target=self._go_on, daemon=True).start()

    def look(self) -> bool:
        """Read the log again if it is not what it was; True if there is a new reading."""
        before = self._status
        try:
            if not self._has_changed():
                return False
            self._read()
        except FileNotFoundError:
            self._status = replace(before, trouble="the log is not there any more")
        except TraceLensError as error:
            self._status = replace(before, trouble=f"cannot be read now: {plain(error.problem)}")
        except OSError as error:
            self._status = replace(before, trouble=f"cannot be read now: {error.strerror}")
        return self._status.version != before.version

    def _go_on(self, sleep: Callable[[float], None] = time.sleep) -> None:
        while True:
            sleep(self._status.pause_s if self.look() else _LOOK_S)

    def _has_changed(self) -> bool:
        seen, now = self._tried_last, self._path.stat()
        if seen is None:
            return True
        who = (now.st_dev, now.st_ino)
        return (who, now.st_mtime_ns, now.st_size) != (seen.inode, seen.changed_ns, seen.size)

    def _read(self) -> None:
        began = time.monotonic()
        data, now = self._bytes()
        told = _what_happened(self._read_last, now, data) if self._read_last else ""
        self._tried_last = now  # what cannot be read is tried again when it changes
        whole_lines = data[: data.rfind(b"\n") + 1]  # a line that is being written is not torn
        run = prepared(read_bytes(whole_lines, self.name, self._system))
        last, version = self._status, self._status.version + 1
        self._read_last = now
        self._shelf.put_version(run, LIVE, version)
        self._status = Status(
            version=version,
            anew=version if told else last.anew,
            pause_s=max(LEAST_PAUSE_S, PAUSES * (time.monotonic() - began)),
            trouble=f"{told} at {time.strftime('%H:%M:%S')}, and read anew" if told else "",
        )

    def _bytes(self) -> tuple[bytes, _Seen]:
        try:
            with self._path.open("rb") as file:
                data, stat = file.read(), os.fstat(file.fileno())
        except FileNotFoundError:
            raise LogError("no such file", place=self.name, hint="check the path") from None
        except OSError as error:
            raise LogError(f"cannot be read: {error.strerror}", place=self.name) from None
        who = (stat.st_dev, stat.st_ino)
        return data, _Seen(who, stat.st_mtime_ns, len(data), data[:_MARK], data[-_MARK:])


def _what_happened(seen: _Seen, now: _Seen, data: bytes) -> str:
    """Why the file is not the one that was read before, only longer; '' if it is."""
    if now.inode != seen.inode:
        return "the log was replaced"
    if now.size < seen.size:
        return "the log was cut short"
    same = data.startswith(seen.head) and data.endswith(seen.tail, 0, seen.size)
    return "" if same else "the log was written anew"
