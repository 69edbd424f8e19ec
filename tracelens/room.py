"""Room for large arrays: in memory while half of it stays free, else in a file.

The machine clears every page of fresh memory before it gives it out, which takes longer than to
fill it. So the room of a large array that nobody holds any longer is kept for the next one; what
stands in it is the system's to throw away whenever memory is short.

What is computed from the large columns of a log needs memory of its own. So a large array that
would leave less than half of the machine's memory (or of the control group's, if that is less),
or that tells by its size that there will be many, is put into a file without a name in the
directory for temporary files, and so is every other large one while that lives. The system keeps as
much of them in memory as it can, and the results are the same.
"""

import mmap
import os
import tempfile
import weakref
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from threading import RLock
from typing import Any, Final

import numpy as np

_LARGE: Final = 1 << 24
"""Bytes below which an array is always in memory."""

_KEPT: Final = 1 << 20
"""Bytes below which the room of an array is not kept for another."""

_MOST_SPARE: Final = 1 << 30
"""Bytes that are kept at most."""

_ARRAYS: Final = 20
"""An array of more than this part of all memory is one of many: a log's longest column is about a
seventeenth of what its tables need."""

_in_files: Final[set[int]] = set()
"""The arrays that lie in files, by identity."""

_GROUPS: Final = (
    ("/sys/fs/cgroup", "memory.max", "memory.stat", "anon"),
    ("/sys/fs/cgroup/memory", "memory.limit_in_bytes", "memory.stat", "total_rss"),
)


def empty(count: int, kind: Any) -> np.ndarray:
    """An array of so many elements with anything in them, wherever there is room.

    Raises `MemoryError` if there is none.
    """
    kind = np.dtype(kind)
    size = count * kind.itemsize
    if size < _LARGE or not _is_short(size):
        return _in_memory(count, kind) if size >= _KEPT else np.empty(count, kind)
    try:
        with tempfile.TemporaryFile() as file:
            os.posix_fallocate(file.fileno(), 0, size)
            mapped = np.memmap(file, kind, "r+", shape=(count,))
    except OSError as error:
        raise MemoryError(f"no room for {size} bytes in {tempfile.gettempdir()}: {error}") from None
    _in_files.add(id(mapped))
    weakref.finalize(mapped, _in_files.discard, id(mapped))
    return mapped.view(np.ndarray)


class _Lent(np.ndarray):
    """An array in a region that others get after it. Its views have it for their base."""


_spare: Final[list[mmap.mmap]] = []
_SPARE_LOCK: Final = RLock()  # the collector may give a region back while one is looked for


def _in_memory(count: int, kind: np.dtype) -> np.ndarray:
    region = _region(count * kind.itemsize)
    if region is None:
        return np.empty(count, kind)
    lent: np.ndarray = _Lent(count, kind, region)
    weakref.finalize(lent, _give_back, region).atexit = False
    return lent.view(np.ndarray)


def _region(size: int) -> mmap.mmap | None:
    """A spare region of at most twice that size, or else a new one; None where there are none."""
    with _SPARE_LOCK:
        fitting = [region for region in _spare if size <= len(region) <= 2 * size]
        if fitting:
            region = min(fitting, key=len)
            _spare.remove(region)
            return region
    if not hasattr(mmap, "MADV_FREE") or not hasattr(mmap, "MADV_HUGEPAGE"):
        return None
    try:
        region = mmap.mmap(-1, size, mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS)
    except OSError:
        with _SPARE_LOCK:
            _spare.clear()
        return None
    with suppress(OSError):  # a system may be built without
        region.madvise(mmap.MADV_HUGEPAGE)
    return region


def _give_back(region: mmap.mmap) -> None:
    with _SPARE_LOCK:
        if sum(map(len, _spare)) + len(region) <= _MOST_SPARE:
            with suppress(OSError):
                region.madvise(mmap.MADV_FREE)
            _spare.append(region)


def _is_short(size: int) -> bool:
    found = memory()
    if found is None:
        return False
    free, whole = found
    return bool(_in_files) or size > whole // _ARRAYS or free - size < whole // 2


def memory() -> tuple[int, int] | None:
    """(bytes free, bytes in all) of the memory that this process may use; None if not known."""
    told = _numbers(Path("/proc/meminfo"))
    if "MemAvailable:" not in told:
        return None
    free, whole = told["MemAvailable:"] * 1024, told["MemTotal:"] * 1024
    for limit, used in _groups():
        if limit < whole:
            free, whole = min(free, limit - used), limit
    return free, whole


def _groups() -> Sequence[tuple[int, int]]:
    """(limit, bytes in use) of every control group that this process is in."""
    found = []
    for line in _lines(Path("/proc/self/cgroup")):
        _, controllers, path = line.split(":", 2)
        for root, limit_file, stat_file, word in _GROUPS:
            if (controllers == "") != (limit_file == "memory.max"):
                continue
            if controllers and "memory" not in controllers.split(","):
                continue
            here = Path(root + path)
            for group in (here, *here.parents):
                if not group.is_relative_to(root):
                    break
                limit = "".join(_lines(group / limit_file))
                if limit.isdigit():
                    found.append((int(limit), _numbers(group / stat_file).get(word, 0)))
    return found


def _numbers(file: Path) -> dict[str, int]:
    """Lines of a word, a number and perhaps a unit."""
    fields = (line.split() for line in _lines(file))
    return {words[0]: int(words[1]) for words in fields if len(words) > 1 and words[1].isdigit()}


def _lines(file: Path) -> list[str]:
    try:
        return file.read_text().splitlines()
    except OSError:
        return []
