"""A long replay in a process of its own: the same answer, and its end is not that of the page."""

import subprocess
import sys
from typing import Any

import pytest

from tracelens.errors import UsageError
from tracelens.reading import read
from tracelens.replay import Change
from tracelens.samples import sample
from tracelens.web.loading import Loader, prepared
from tracelens.web.rooms.repair import apart, replaying
from tracelens.web.rooms.repair.apart import Replayed, replay, replay_apart
from tracelens.web.rooms.repair.replaying import Replays
from tracelens.web.shelf import Shelf

INHERIT = Change("protocol", "flash_bus", protocol="inherit")


@pytest.fixture(scope="module")
def recorded():
    return read(sample("knitting_inversion").log)


def test_apart_it_says_the_same(recorded) -> None:
    here: list[str] = []
    there: list[str] = []
    mine, other = replay(recorded, [INHERIT], here.append), replay_apart(
        recorded, [INHERIT], there.append
    )  # fmt: skip
    assert there == ["beginning a process for the replay", *here]
    assert other.document == mine.document
    assert other.tasks.equals(mine.tasks)
    assert other.moved.equals(mine.moved)
    for table in ("jobs", "episodes", "task_states", "inversions"):
        assert getattr(other.predicted, table).equals(getattr(mine.predicted, table))


def test_what_cannot_be_replayed_is_refused_the_same(recorded) -> None:
    wrong = Change("protocol", "flash_bs", protocol="inherit")
    told: list[tuple[str, str | None]] = []
    for way in (replay, replay_apart):
        with pytest.raises(UsageError) as refused:
            way(recorded, [wrong], lambda _step: None)
        told.append((refused.value.problem, refused.value.hint))
    assert told[0] == told[1]
    assert "no such lock" in told[0][0]


@pytest.mark.parametrize("code", ["import os; os.abort()", "print('hello')", "while True: pass"])
def test_a_process_that_ends_otherwise_is_said_and_ended(
    recorded, monkeypatch: pytest.MonkeyPatch, code: str
) -> None:
    begun: list[subprocess.Popen[bytes]] = []

    def begin(_command: Any, **how: Any) -> subprocess.Popen[bytes]:
        begun.append(subprocess.Popen([sys.executable, "-c", code], **how))
        return begun[-1]

    def say(_step: str) -> None:
        """What does not end by itself is ended from outside, as for want of memory."""

    class Module:
        PIPE, DEVNULL, Popen = subprocess.PIPE, subprocess.DEVNULL, staticmethod(begin)

    monkeypatch.setattr(apart, "subprocess", Module)
    if "while" in code:
        monkeypatch.setattr(apart.pickle, "dump", lambda *_: begun[-1].kill())
    with pytest.raises(UsageError, match="the replay was ended before it was done"):
        replay_apart(recorded, [INHERIT], say)
    assert begun[0].poll() is not None


def test_a_process_that_ends_before_it_has_all_is_said(
    recorded, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is left in the buffer for it cannot be sent either."""
    monkeypatch.setattr(apart.sys, "executable", "/bin/false")

    def last_words(_asked: Any, to: Any, _protocol: int) -> None:
        to.write(b"x")
        begun[0].wait()
        to.flush()

    begun: list[subprocess.Popen[bytes]] = []

    class Begun(subprocess.Popen[bytes]):
        def __init__(self, *command: Any, **how: Any) -> None:
            super().__init__(*command, **how)
            begun.append(self)

    monkeypatch.setattr(apart.subprocess, "Popen", Begun)
    monkeypatch.setattr(apart.pickle, "dump", last_words)
    with pytest.raises(UsageError, match="the replay was ended before it was done"):
        replay_apart(recorded, [INHERIT], lambda _step: None)


def test_only_long_runs_go_apart(recorded, monkeypatch: pytest.MonkeyPatch) -> None:
    gone: list[int] = []

    def other(run: Any, changes: Any, say: Any) -> Replayed:
        gone.append(run.log.events.height)
        return replay(run, changes, say)

    monkeypatch.setattr(replaying, "replay_apart", other)
    shelf = Shelf()
    replays = Replays(shelf, Loader(shelf))
    run = prepared(recorded)
    for worth_it, count in ((10**9, 0), (100, 1)):
        monkeypatch.setattr(replaying, "WORTH_IT", worth_it)
        assert shelf.get(replays._replay(run, [INHERIT], lambda _step: None))
        assert len(gone) == count
