"""The runs that the page can show, by the id that stands in its address."""

import secrets
import threading

from tracelens.drawing.runs import Run


class Shelf:
    """Prepared runs by id; safe for many threads, since runs never change.

    What a reader looks at is kept in their browser alone: readers cannot disturb each other.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._runs: dict[str, Run] = {}

    def put(self, run: Run, run_id: str | None = None) -> str:
        """Keep a run under an id, by default one that nobody can guess; returns the id."""
        run_id = run_id or secrets.token_urlsafe(12)
        with self._lock:
            self._runs[run_id] = run
        return run_id

    def get(self, run_id: str) -> Run | None:
        """The run of that id; None if there is none, or none any more."""
        with self._lock:
            return self._runs.get(run_id)

    def first(self) -> str | None:
        """Id of the run that the page opens on if its address names none."""
        with self._lock:
            return next(iter(self._runs), None)
