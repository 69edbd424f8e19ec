"""Reading a whole file, or what comes through a pipe, without filling the memory."""

import os
import stat
import sys
from pathlib import Path
from typing import IO, Final

from tracelens import room

_BLOCK: Final = 1 << 20
_LEAST: Final = 64 << 20


class TooLongError(Exception):
    """There is more than may be read."""


def read_whole(source: str | Path | IO[bytes], most: int) -> bytes:
    """All bytes of a file, `most` at most: a device may have no end.

    A named pipe is waited for. Raises `TooLongError` and what opening and reading raise.
    """
    if isinstance(source, str | Path):
        with Path(source).open("rb") as file:
            return read_whole(file, most)
    length = _length(source)
    if length is not None:
        if length > most:
            raise TooLongError
        return source.read()
    blocks, came = [], 0
    while block := source.read(min(_BLOCK, most + 1 - came)):
        blocks.append(block)
        came += len(block)
        if came > most:
            raise TooLongError
    return b"".join(blocks)


def _length(file: IO[bytes]) -> int | None:
    """How long a file on a disk is; None for a pipe, a device and what is no file."""
    try:
        told = os.fstat(file.fileno())
    except (OSError, ValueError):
        return None
    return told.st_size if stat.S_ISREG(told.st_mode) else None


def share_of_memory(parts: int) -> int:
    """The `parts`-th part of what memory this process can have, in bytes; 64 MB at least."""
    known = room.memory()
    limits = [limit for limit in (known and known[1], _of_the_process()) if limit]
    return max(_LEAST, min(limits, default=sys.maxsize) // parts)


def _of_the_process() -> int | None:
    try:
        import resource
    except ImportError:  # not a POSIX system
        return None
    limit = resource.getrlimit(resource.RLIMIT_AS)[0]
    return None if limit == resource.RLIM_INFINITY else limit
