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
from stat import S_ISREG
from typing import Final

from tracelens.errors import LogError, TraceLensError
from tracelens.files import TooLongError, read_whole, share_of_memory
from tracelens.log.sources import SHARE, is_compressed
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
    """The newest reading, and the last one that began anew.

    `told` says what happened to the file before that reading, `trouble` why there is no newer one.
    """

    version: int = 0
    anew: int = 1
    pause_s: float = LEAST_PAUSE_S
    told: str = ""
    trouble: str = ""

    @property
    def said(self) -> str:
        """A sentence for the reader."""
        if self.trouble:
            return f"{self.trouble} · the last reading stays; it is tried again"
        again = f"growing · read whole every {duration(self.pause_s * NS_PER_S)} at most"
        return f"{self.told} · {again}" if self.told else again


@dataclass(frozen=True, slots=True)
class _Seen:
    """A file as it was: `_kind_of` it, how much was read, its first bytes and its last ones."""

    kind: tuple[int, ...]
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
        self._tried = False
        self._shelf = Shelf()

    @property
    def status(self) -> Status:
        """How it stands; one record, replaced as a whole."""
        return self._status

    def begin(self, shelf: Shelf) -> None:
        """Read the log for the first time. Raises `LogError` or another error of reading."""
        self._shelf = shelf
        self._read()

    def start(self, tell: Callable[[BaseException, str], None] = lambda *_: None) -> None:
        """Go on in a thread of its own, which ends with the program; `tell` what nobody foresaw."""
        threading.Thread(target=self._go_on, args=(tell,), daemon=True).start()

    def look(self) -> bool:
        """Read the log again if it is not what it was; True if there is a new reading.

        What is in the way is said in `status`, and the last reading stays. An error that nobody
        foresaw is said too, and raised.
        """
        before, began = self._status, time.monotonic()
        self._tried = False
        try:
            if not self._has_changed():
                if self._tried_last is self._read_last:  # it is there again, as it was read
                    self._say("")
                return False
            self._tried = True
            self._read()
        except FileNotFoundError:
            self._say("the log is not there any more")
        except TraceLensError as error:
            mine = (error.place or self.name).startswith(self.name)
            why = (error.problem if mine else str(error)).removeprefix("cannot be read: ")
            self._say(f"cannot be read now: {plain(why)}")
        except OSError as error:
            self._say(f"cannot be read now: {error.strerror}")
        except MemoryError:
            self._say("cannot be read now: too long for the memory of this machine")
        except BaseException:  # also a panic of compiled code, which is no Exception
            self._say("cannot be read now, by a fault of tracelens")
            raise
        finally:
            if self._tried:
                pause = max(LEAST_PAUSE_S, PAUSES * (time.monotonic() - began))
                self._status = replace(self._status, pause_s=pause)
        return self._status.version != before.version

    def _go_on(
        self,
        tell: Callable[[BaseException, str], None],
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        while True:
            try:
                self.look()
            except BaseException as error:  # the page says it; the next reading may succeed
                tell(error, f"reading {plain(self.name)} again")
            sleep(self._status.pause_s if self._tried else _LOOK_S)

    def _say(self, trouble: str) -> None:
        self._status = replace(self._status, trouble=trouble)

    def _has_changed(self) -> bool:
        seen, now = self._tried_last, self._path.stat()
        return seen is None or _kind_of(now) != seen.kind

    def _read(self) -> None:
        self._tried_last = None
        data, now = self._bytes()
        told = _what_happened(self._read_last, now, data) if self._read_last else ""
        self._tried_last = now  # what cannot be read is tried again when it changes
        run = prepared(read_bytes(_without_begun_line(data), self.name, self._system))
        last, version = self._status, self._status.version + 1
        self._read_last = now
        self._shelf.put_version(run, LIVE, version)
        self._status = replace(
            last,
            version=version,
            anew=version if told else last.anew,
            told=f"{told} at {time.strftime('%H:%M:%S')}, and read anew" if told else "",
            trouble="",
        )

    def _bytes(self) -> tuple[bytes, _Seen]:
        try:
            # A pipe or a device in the place of the log may give nothing, or never end.
            handle = os.open(self._path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
            try:
                stat = os.fstat(handle)
                if not S_ISREG(stat.st_mode):
                    raise LogError("not a file", place=self.name, hint="check the path")
                with os.fdopen(handle, "rb", closefd=False) as file:
                    data = read_whole(file, share_of_memory(SHARE))
            finally:
                os.close(handle)
        except FileNotFoundError:
            raise LogError("no such file", place=self.name, hint="check the path") from None
        except TooLongError:
            raise LogError("too long for the memory of this machine", place=self.name) from None
        except OSError as error:
            raise LogError(f"cannot be read: {error.strerror}", place=self.name) from None
        return data, _Seen(_kind_of(stat), len(data), data[:_MARK], data[-_MARK:])


def _without_begun_line(data: bytes) -> bytes:
    """A line that is being written is not torn; what is compressed has no lines yet."""
    return data if is_compressed(data) else data[: data.rfind(b"\n") + 1]


def _kind_of(stat: os.stat_result) -> tuple[int, ...]:
    """Which file it is, when it was changed, and how long it is."""
    return stat.st_dev, stat.st_ino, stat.st_mtime_ns, stat.st_size


def _what_happened(seen: _Seen, now: _Seen, data: bytes) -> str:
    """Why the file is not the one that was read before, only longer; '' if it is."""
    if now.kind[:2] != seen.kind[:2]:
        return "the log was replaced"
    if now.size < seen.size:
        return "the log was cut short"
    same = data.startswith(seen.head) and data.endswith(seen.tail, 0, seen.size)
    return "" if same else "the log was written anew"
