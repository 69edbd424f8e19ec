"""The directory of a history as the page reads it: again whenever its files changed."""

import hashlib
import os
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import polars as pl

from tracelens.history import store
from tracelens.history.store import History
from tracelens.history.trends import ranked, trends

Where = tuple[tuple[str, str], ...]
"""Keys of `#run` and the values that they must have."""

_MOST_KEPT: Final = 8


@dataclass(frozen=True, slots=True)
class Look:
    """A history, or the part of it that was asked for; `found` is its ranked `TRENDS`."""

    history: History
    found: pl.DataFrame


class Folder:
    """A directory of runs; safe for many threads. What was read last is kept until it changes."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = threading.Lock()
        self._looks: dict[tuple[str, Where, int | None], Look] = {}

    @property
    def name(self) -> str:
        """What the directory is called."""
        return self.path.resolve().name

    def stamp(self) -> str:
        """Another text whenever a run was added, exchanged or taken away; '' if there is none."""
        try:
            with os.scandir(self.path) as entries:
                files = sorted(
                    (entry.name, entry.stat().st_mtime_ns, entry.stat().st_size)
                    for entry in entries
                    if entry.name.startswith(store.PREFIX)
                )
        except OSError:
            return ""
        return hashlib.blake2b(repr(files).encode(), digest_size=16).hexdigest()

    def look(self, where: Where = (), last: int | None = None) -> Look:
        """The runs that have these values, of them the newest `last`, and what changed over them.

        Raises `InputError` if there is no such directory, or no such run in it.
        """
        key = self.stamp(), where, last
        with self._lock:  # two who ask for the same wait for one reading
            kept = self._looks.pop(key, None)
            if kept is None:
                history = store.newest(store.read(self.path, where), last)
                kept = Look(history, ranked(trends(history)))
            self._looks[key] = kept
            while len(self._looks) > _MOST_KEPT:
                del self._looks[next(iter(self._looks))]
            return kept
