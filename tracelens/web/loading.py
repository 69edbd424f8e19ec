"""Logs on their way to the shelf: read beside the readers of the page, step by step."""

import secrets
import threading
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass
from typing import IO, Final

from tracelens.analysis import analyse
from tracelens.drawing.runs import Run, load
from tracelens.errors import TraceLensError
from tracelens.model.results import Timeline
from tracelens.plain import plain
from tracelens.reading import read, read_bytes
from tracelens.samples import sample
from tracelens.web.shelf import SAMPLE, Shelf

Say = Callable[[str], None]

MOST_LOG: Final = 512 << 20
"""Bytes of an upload, and of the text that it unpacks to."""

AT_ONCE: Final = 2
LARGE: Final = 16 << 20
"""Of logs of so many bytes, which may be compressed, one is read at a time: it takes gigabytes."""

MOST_WAITING: Final = 8
_REMEMBERED: Final = 100


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a log has come: a step under way, or a run, or a problem with its hint."""

    step: str = "waiting for its turn"
    run: str | None = None
    problem: str | None = None
    hint: str | None = None

    @property
    def done(self) -> bool:
        """True if nothing more will change."""
        return self.run is not None or self.problem is not None


class Loader:
    """Makes runs of uploads or of other runs, `at_once` at a time, in threads of their own.

    The page has one for what is read and one for what is replayed: neither waits for the other.

    The passes over a log are compiled code that lets other threads run.
    """

    def __init__(
        self,
        shelf: Shelf,
        tell: Callable[[BaseException, str], None] = lambda *_: None,
        at_once: int = AT_ONCE,
    ) -> None:
        self._shelf = shelf
        self._tell = tell
        self._lock = threading.Lock()
        self._turn = threading.BoundedSemaphore(at_once)
        self._large = threading.Lock()
        self._progress: dict[str, Progress] = {}

    def has_room(self) -> bool:
        """False while too many logs wait to be read."""
        with self._lock:
            return sum(not p.done for p in self._progress.values()) < MOST_WAITING

    def begin(self, file: IO[bytes], size: int, name: str) -> str:
        """Begin to read an upload of `size` bytes; return a ticket to ask about it.

        The file is closed as soon as it is read.
        """

        def read_it(say: Say) -> str:
            with file, nullcontext() if size < LARGE else self._large:
                timeline = read_bytes(file, name, most=MOST_LOG, say=say)
                run = prepared(timeline, say)
            return self._shelf.put_upload(run, max(size, timeline.log.lines * LINE))

        return self.start(read_it, secrets.token_urlsafe(12), name)

    def start(self, work: Callable[[Say], str], ticket: str, name: str, done: str = "read") -> str:
        """Begin `work`, which says its steps and gives the id of a run; return its ticket.

        `name` is the run's, for messages; `done` what is done to it, 'read' or 'replayed'.
        """
        with self._lock:
            for old in list(self._progress)[:-_REMEMBERED]:
                if self._progress[old].done:
                    del self._progress[old]
            self._progress[ticket] = Progress()
        # A daemon: whoever ends the page does not wait for a run to be made.
        threading.Thread(target=self._work, args=(work, ticket, name, done), daemon=True).start()
        return ticket

    def progress(self, ticket: str) -> Progress | None:
        """How far a log has come; None for a ticket that was never given, or long ago."""
        with self._lock:
            return self._progress.get(ticket)

    def _work(self, work: Callable[[Say], str], ticket: str, name: str, done: str) -> None:
        outcome = Progress(problem=f"{name}: cannot be {done}, by a fault of tracelens")
        try:
            with self._turn:
                outcome = Progress(run=work(lambda step: self._say(ticket, Progress(step))))
        except TraceLensError as error:
            outcome = Progress(problem=plain(str(error)), hint=error.hint)
        except MemoryError:
            outcome = Progress(problem=f"{name}: too long for the memory of this machine")
        except BaseException as error:  # also a panic of compiled code, which is no Exception
            self._tell(error, f"a log is {done}")
        finally:
            self._say(ticket, outcome)  # whatever happens, who waits learns that it is over

    def _say(self, ticket: str, progress: Progress) -> None:
        with self._lock:
            self._progress[ticket] = progress


LINE: Final = 24
"""Bytes of a usual line, to reckon the length of a log that came compressed."""


def prepared(timeline: Timeline, say: Say = lambda _step: None) -> Run:
    """What happened → the run as the page holds it."""
    say("measuring")
    analysis = analyse(timeline)
    say("preparing the page")
    return load(analysis)


def find(shelf: Shelf, run_id: str) -> Run | None:
    """The run of an id; a sample that is not on the shelf is read first."""
    run = shelf.get(shelf.newest(run_id))
    if run is not None or not run_id.startswith(SAMPLE):
        return run
    chosen = sample(run_id.removeprefix(SAMPLE))
    if chosen is None:
        return None
    with _READING:  # of many who ask for it at once the first reads it
        run = shelf.get(run_id)
        if run is None:
            run = prepared(read(chosen.log))
            shelf.put(run, run_id)
    return run


_READING: Final = threading.Lock()
