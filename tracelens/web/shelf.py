"""The runs that the page can show, by the id that stands in its address."""

import secrets
import threading
from dataclasses import dataclass
from typing import Final

from tracelens.drawing.runs import Run

MOST_UPLOADS: Final = 12
MOST_BYTES: Final = 1 << 29
"""Of log text behind all uploads together; a run in memory takes some eight times as much."""

VERSIONS: Final = 3
"""Of a log that grows, so many readings are kept: a reader may still look at the one before."""

_DOT: Final = "."


@dataclass(slots=True)
class _Kept:
    run: Run
    size: int


class Shelf:
    """Prepared runs by id; safe for many threads, since runs never change.

    What a reader looks at is kept in their browser alone: readers cannot disturb each other.
    What was named when the page began stays. Of uploads there is room for `most_uploads` and for
    `most_bytes` of log text: the one that nobody has looked at for longest goes first.
    """

    def __init__(self, most_uploads: int = MOST_UPLOADS, most_bytes: int = MOST_BYTES) -> None:
        self._lock = threading.Lock()
        self._runs: dict[str, Run] = {}
        self._uploads: dict[str, _Kept] = {}  # the least recently used first
        self._most_uploads = most_uploads
        self._most_bytes = most_bytes

    def put(self, run: Run, run_id: str) -> str:
        """Keep a run for good."""
        with self._lock:
            self._runs[run_id] = run
        return run_id

    def put_upload(self, run: Run, size: int) -> str:
        """Keep a run, read from `size` bytes of text, under an id that nobody can guess."""
        run_id = secrets.token_urlsafe(12)
        with self._lock:
            self._uploads[run_id] = _Kept(run, size)
            while len(self._uploads) > 1 and self._is_full():
                del self._uploads[next(iter(self._uploads))]
        return run_id

    def put_version(self, run: Run, base: str, number: int) -> str:
        """Keep the reading numbered `number` of a log that grows; the oldest goes."""
        with self._lock:
            self._runs[f"{base}{_DOT}{number}"] = run
            self._runs.pop(f"{base}{_DOT}{number - VERSIONS}", None)
        return f"{base}{_DOT}{number}"

    def get(self, run_id: str) -> Run | None:
        """The run of that id; None if there is none, or none any more."""
        with self._lock:
            kept = self._uploads.pop(run_id, None)
            if kept is None:
                return self._runs.get(run_id)
            self._uploads[run_id] = kept  # now the most recently used
            return kept.run

    def newest(self, run_id: str) -> str:
        """The id itself; of a log that grows, the id of its newest reading."""
        base, dot, _ = run_id.partition(_DOT)
        with self._lock:
            if not dot or run_id in self._uploads:
                return run_id
            versions = [known for known in self._runs if known.startswith(base + _DOT)]
            return versions[-1] if versions else run_id

    def first(self) -> str | None:
        """Id of the run that the page opens on if its address names none."""
        with self._lock:
            return next((known for known in self._runs if not known.startswith(SAMPLE)), None)

    def _is_full(self) -> bool:
        size = sum(kept.size for kept in self._uploads.values())
        return len(self._uploads) > self._most_uploads or size > self._most_bytes


SAMPLE: Final = "sample:"
"""Begins the id of a sample: the same in every session, so that a link to it keeps working."""
