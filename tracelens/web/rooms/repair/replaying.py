"""A run replayed beside the readers of the page; what came of it goes with the predicted run."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from weakref import WeakKeyDictionary

import polars as pl

from tracelens.drawing.runs import Run
from tracelens.errors import UsageError
from tracelens.plain import plain
from tracelens.replay import Change
from tracelens.report.blocks import Document
from tracelens.web.loading import LINE, Loader, Progress, Say, prepared
from tracelens.web.rooms.repair.apart import WORTH_IT, replay, replay_apart
from tracelens.web.shelf import Shelf

MOST_EVENTS: Final = 1_000_000
"""Of a run that is replayed here: some 10 s of one core."""


REPLAYED_AT_ONCE: Final = 1
"""Each computes in Python: two at once would take twice as long."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a replay says: how far to believe it, the table `Prediction.tasks`, the moved jobs."""

    document: Document
    tasks: pl.DataFrame
    moved: pl.DataFrame


class Replays:
    """Replays of the runs of a shelf. The predicted run goes on the shelf, like an upload.

    The same changes of the same run are replayed once while the predicted run is there.
    """

    def __init__(self, shelf: Shelf, loader: Loader) -> None:
        self._shelf = shelf
        self._loader = loader
        self._answers: WeakKeyDictionary[Run, Answer] = WeakKeyDictionary()

    def begin(self, run_id: str, run: Run, changes: Sequence[Change]) -> str:
        """Begin to replay a run; return a ticket to ask about it. Raises `UsageError`."""
        too_long(len(run.analysis.timeline.log.events))
        told = json.dumps([run_id, *map(str, changes)])
        ticket = hashlib.sha256(told.encode()).hexdigest()
        known = self._loader.progress(ticket)
        if known and not known.problem and (known.run is None or self._shelf.get(known.run)):
            return ticket
        if not self._loader.has_room():
            raise UsageError("too many runs wait to be read or replayed: try again in a while")

        def work(say: Say) -> str:
            return self._replay(run, changes, say)

        return self._loader.start(work, ticket, plain(run.name), "replayed")

    def progress(self, ticket: str) -> Progress | None:
        """How far a replay has come; None for a ticket that was never given, or long ago."""
        return self._loader.progress(ticket)

    def answer(self, predicted: Run) -> Answer | None:
        """What was said of a predicted run; None for any other run."""
        return self._answers.get(predicted)

    def _replay(self, run: Run, changes: Sequence[Change], say: Say) -> str:
        timeline = run.analysis.timeline
        apart = timeline.log.events.height > WORTH_IT
        came = (replay_apart if apart else replay)(timeline, changes, say)
        predicted = prepared(came.predicted, say)
        self._answers[predicted] = Answer(came.document, came.tasks, came.moved)
        return self._shelf.put_upload(predicted, came.predicted.log.events.height * LINE)


def too_long(events: int) -> None:
    """Raise `UsageError` for a run of more than `MOST_EVENTS`."""
    if events > MOST_EVENTS:
        raise UsageError(
            f"the run is too long to be replayed here: found {events} events, expected at most "
            f"{MOST_EVENTS}; `tracelens cut` takes a part out, `tracelens whatif` replays it all"
        )
