"""A replay in a process of its own.

A replay computes in Python, which lets one thread compute at a time: of a long run it would keep
everybody waiting who only moves about. The process is less urgent than the server, its memory is
the machine's again when it ends, and if there is not enough of it, the page goes on.
"""

import contextlib
import os
import pickle
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import IO, Any, Final

import polars as pl

from tracelens.errors import TraceLensError, UsageError
from tracelens.model.results import Timeline
from tracelens.replay import Change, moved, prepare
from tracelens.report import replayed
from tracelens.report.blocks import Document

WORTH_IT: Final = 50_000
"""Events from which on a process is begun, which takes a second."""

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Replayed:
    """The predicted run; what is said of it, the table `Prediction.tasks`, and the moved jobs."""

    predicted: Timeline
    document: Document
    tasks: pl.DataFrame
    moved: pl.DataFrame


def replay(run: Timeline, changes: Sequence[Change], say: Say) -> Replayed:
    """Replay a run with changes. Raises `UsageError`."""
    replayer = prepare(run, say)
    say("replaying it with the changes")
    prediction = replayer.predict(changes)
    return Replayed(
        prediction.predicted, replayed.document(prediction), prediction.tasks, moved(prediction)
    )


def replay_apart(run: Timeline, changes: Sequence[Change], say: Say) -> Replayed:
    """The same, in a process of its own. Raises `UsageError`, also if that process is ended."""
    say("beginning a process for the replay")
    command = [sys.executable, "-m", __name__]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    ) as child:
        assert child.stdin is not None
        assert child.stdout is not None
        try:
            pickle.dump((run, tuple(changes)), child.stdin, pickle.HIGHEST_PROTOCOL)
            child.stdin.close()
            while True:
                told = pickle.load(child.stdout)
                if not isinstance(told, str):
                    break
                say(told)
        except (EOFError, OSError, pickle.UnpicklingError):
            raise UsageError(
                "the replay was ended before it was done: the memory of this machine may not do "
                "for it",
                hint="tracelens cut takes a part out of the log",
            ) from None
        finally:
            child.kill()
            with contextlib.suppress(OSError):  # what it has not taken is not sent once more
                child.stdin.close()
    if isinstance(told, Replayed):
        return told
    raise told


def _answer(asked: IO[bytes], answers: IO[bytes]) -> None:
    """Answer what is asked, step by step; the last answer is the replayed run, or an error."""

    def tell(what: Any) -> None:
        pickle.dump(what, answers, pickle.HIGHEST_PROTOCOL)
        answers.flush()

    run, changes = pickle.load(asked)
    try:
        tell(replay(run, changes, tell))
    except TraceLensError as error:
        tell(UsageError(error.problem, hint=error.hint))


if __name__ == "__main__":
    from tracelens.web.rooms.repair import apart  # what is sent is of that module, not of this one

    os.nice(10)
    # Whatever is printed meanwhile is no answer.
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    apart._answer(sys.stdin.buffer, answers)
