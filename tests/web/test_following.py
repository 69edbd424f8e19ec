"""A log that grows while it is shown: new readings, and what becomes of the reader's place."""

import os
from pathlib import Path

import pytest

from tests.drawing import scene
from tests.drawing.scene import MS
from tracelens.errors import LogError
from tracelens.log.unused import TORN
from tracelens.web.following import LEAST_PAUSE_S, Follower
from tracelens.web.moves import View
from tracelens.web.parts.live import at_the_end, carried, number_of, same_job
from tracelens.web.shelf import Shelf

WHOLE = scene.log_text(20).encode()
BEGIN = len(scene.log_text(4)) - len("40000,0,mark,log_end,\n")


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "growing.csv"
    path.write_bytes(WHOLE[:BEGIN])
    return path


@pytest.fixture
def following(log: Path) -> tuple[Follower, Shelf]:
    follower, shelf = Follower(log), Shelf()
    follower.begin(shelf)
    return follower, shelf


def append(path: Path, data: bytes) -> None:
    with path.open("ab") as file:
        file.write(data)


def test_what_is_appended_comes_as_a_new_reading(following, log: Path) -> None:
    follower, shelf = following
    first = shelf.get("live.1")
    assert not follower.look()
    append(log, WHOLE[BEGIN : BEGIN + 5003])
    assert follower.look()
    second = shelf.get(shelf.newest("live.1"))
    assert second.span_ns > first.span_ns
    assert shelf.get("live.1") is first, "the reader of before still has it"
    assert follower.status.pause_s >= LEAST_PAUSE_S
    assert follower.status.said.startswith("growing · read whole every")


def test_at_every_length_the_reading_is_that_of_the_whole_lines(following, log: Path) -> None:
    """Cut anywhere, also within a line: nothing is counted as torn."""
    follower, shelf = following
    for end in (BEGIN + 1, BEGIN + 17, BEGIN + 1000, len(WHOLE)):
        append(log, WHOLE[log.stat().st_size : end])
        follower.look()
        run = shelf.get(shelf.newest("live.1")).analysis.timeline.log
        assert TORN not in run.unused["reason"].to_list()
        assert run.lines == WHOLE[:end].count(b"\n")


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ("replaced", "the log was replaced at"),
        ("cut", "the log was cut short at"),
        ("rewritten", "the log was written anew at"),
    ],
)
def test_another_file_of_the_name_is_noticed_and_said(following, log, how: str, said: str) -> None:
    follower, _ = following
    if how == "replaced":
        other = log.with_suffix(".new")
        other.write_bytes(WHOLE)
        other.replace(log)
    elif how == "cut":
        log.write_bytes(scene.log_text(2).encode())
    else:
        log.write_bytes(WHOLE.replace(b"needle_select", b"needle_choice"))
    assert follower.look()
    assert follower.status.said.startswith(said)
    assert follower.status.anew == 2
    append(log, b"999000,0,mark,log_end,\n")
    assert follower.look()
    assert follower.status.anew == 2, "grown since, not anew again"


def test_a_log_that_goes_or_cannot_be_read_leaves_the_last_reading(following, log: Path) -> None:
    follower, shelf = following
    kept = log.read_bytes()
    log.unlink()
    assert not follower.look()
    assert "not there any more" in follower.status.said
    log.write_bytes(b"hello\n")
    assert not follower.look()
    assert "cannot be read now: not an event log" in follower.status.said
    assert shelf.get(shelf.newest("live.1")) is not None
    log.write_bytes(kept)
    assert follower.look()
    assert "read anew" in follower.status.said or follower.status.trouble == ""


def test_a_log_that_is_not_there_is_an_error_at_once(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="no such file"):
        Follower(tmp_path / "none.csv").begin(Shelf())


def test_a_file_touched_but_not_changed_is_no_other_log(following, log: Path) -> None:
    follower, _ = following
    os.utime(log, ns=(1, 1))
    follower.look()
    assert follower.status.trouble == ""


@pytest.mark.parametrize(
    ("view", "stay", "expected"),
    [
        (View(10 * MS, 20 * MS), True, View(10 * MS, 20 * MS)),
        (View(30 * MS, 40 * MS), False, View(30 * MS, 40 * MS)),
        (View(30 * MS, 40 * MS, top=1), True, View(0, 60 * MS, top=1)),
    ],
)
def test_the_window_stays_or_follows_the_end(view: View, stay: bool, expected: View) -> None:
    """At the end it widens until it is a second wide: a short log is shown whole."""
    assert carried(view, 40 * MS, scene.run(), stay) == expected


def test_a_wide_window_at_the_end_keeps_its_width_and_a_whole_run_is_shown_whole() -> None:
    run = scene.run(300)
    assert carried(View(0, 2500 * MS), 2500 * MS, run, True) == View(0, 3000 * MS)
    assert carried(View(500 * MS, 2500 * MS), 2500 * MS, run, True) == View(1000 * MS, 3000 * MS)
    assert at_the_end(run) == View(2000 * MS, 3000 * MS)


def test_the_chosen_job_is_the_same_in_the_next_reading() -> None:
    before, run = scene.run(4), scene.run(20)
    for task, number in (("needle_select", 3), ("archive", 2)):
        chosen = scene.job_of(task, number, 4)
        assert same_job(before, run, chosen) == scene.job_of(task, number, 20)
    assert same_job(before, run, None) is None
    assert same_job(None, run, 3) is None
    assert same_job(run, before, scene.job_of("archive", 19, 20)) is None


@pytest.mark.parametrize(("run_id", "number"), [("live.7", 7), ("live.x", 0), ("1", 0), ("", 0)])
def test_the_number_of_a_reading(run_id: str, number: int) -> None:
    assert number_of(run_id) == number
