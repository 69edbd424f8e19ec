"""A log that grows while it is shown: new readings, and what becomes of the reader's place."""

import gzip
import os
from collections.abc import Callable
from pathlib import Path

import pytest
import zstandard

from tests.drawing import scene
from tests.drawing.scene import MS
from tracelens.errors import LogError
from tracelens.log.unused import TORN
from tracelens.web import following as module
from tracelens.web.following import LEAST_PAUSE_S, PAUSES, Follower
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
    assert follower.status.trouble == ""


@pytest.mark.parametrize("pack", [gzip.compress, zstandard.compress])
def test_a_compressed_log_is_read_to_its_end(log: Path, pack: Callable[[bytes], bytes]) -> None:
    """A byte of it that looks like a line feed ends no line."""
    packed = pack(WHOLE)
    assert b"\n" in packed[:-1]
    log.write_bytes(packed)
    shelf = Shelf()
    Follower(log).begin(shelf)
    read = shelf.get("live.1").analysis.timeline.log
    assert (read.lines, read.warnings) == (WHOLE.count(b"\n"), ())


def test_a_log_that_is_not_there_is_an_error_at_once(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="no such file"):
        Follower(tmp_path / "none.csv").begin(Shelf())


def test_a_file_touched_but_not_changed_is_no_other_log(following, log: Path) -> None:
    follower, _ = following
    os.utime(log, ns=(1, 1))
    follower.look()
    assert (follower.status.told, follower.status.trouble) == ("", "")


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


class _Panic(BaseException):
    """As compiled code panics: no Exception."""


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ("gone", "the log is not there any more"),
        ("folder", "cannot be read now: not a file"),
        ("pipe", "cannot be read now: not a file"),
        ("device", "cannot be read now: not a file"),
        ("empty", "cannot be read now: the file is empty"),
        ("noise", "cannot be read now: "),
        ("nothing behind the link", "the log is not there any more"),
    ],
)
def test_whatever_stands_in_the_place_of_the_log_is_said_and_then_read_again(
    following, log: Path, how: str, said: str
) -> None:
    follower, shelf = following
    kept = log.rename(log.with_suffix(".kept"))
    if how == "folder":
        log.mkdir()
    elif how == "pipe":
        os.mkfifo(log)  # opened to be read, it would wait for a writer
    elif how == "device":
        log.symlink_to("/dev/zero")  # it never ends
    elif how in ("empty", "noise"):
        log.write_bytes(b"" if how == "empty" else os.urandom(5000))
    elif how != "gone":
        log.symlink_to(log.with_suffix(".none"))
    for _ in range(2):
        assert not follower.look()
        assert follower.status.said.startswith(said)
        assert "stays" in follower.status.said
    assert shelf.get(shelf.newest("live.1")) is shelf.get("live.1")
    if how == "folder":
        log.rmdir()
    kept.replace(log)
    follower.look()
    assert follower.status.trouble == ""
    append(log, WHOLE[BEGIN : BEGIN + 4000])
    assert follower.look()
    assert follower.status.trouble == ""


@pytest.mark.parametrize(
    ("error", "said", "told"),
    [
        (MemoryError(), "cannot be read now: too long for the memory of this machine", 0),
        (KeyError("x"), "cannot be read now, by a fault of tracelens", 1),
        (_Panic("a panic"), "cannot be read now, by a fault of tracelens", 1),
    ],
)
def test_an_error_that_nobody_foresaw_is_said_and_the_following_goes_on(
    following, log: Path, monkeypatch: pytest.MonkeyPatch, error, said: str, told: int
) -> None:
    follower, _ = following
    faults: list[str] = []
    slept: list[float] = []

    def fails(*_arguments: object) -> None:
        raise error

    def sleep(seconds: float) -> None:
        """The end of the second round ends the test."""
        slept.append(seconds)
        if len(slept) == 2:
            raise StopIteration

    append(log, WHOLE[BEGIN : BEGIN + 4000])
    with monkeypatch.context() as patched:
        patched.setattr(module, "read_bytes", fails)
        with pytest.raises(StopIteration):
            follower._go_on(lambda error, doing: faults.append(doing), sleep)
    assert follower.status.said.startswith(said)
    assert faults == [f"reading {log} again"] * told
    assert slept[0] >= LEAST_PAUSE_S, "what failed is not tried again at once"
    assert slept[1] < LEAST_PAUSE_S, "and not at all while the file is as it was"
    append(log, WHOLE[BEGIN + 4000 : BEGIN + 5000])
    assert follower.look()
    assert follower.status.trouble == ""


def test_a_reading_that_fails_after_a_long_time_waits_as_long_as_one_that_succeeds(
    following, log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    follower, _ = following
    clock = iter([0.0, 20.0])
    monkeypatch.setattr(module.time, "monotonic", lambda: next(clock))
    log.write_bytes(b"hello\n")
    assert not follower.look()
    assert follower.status.pause_s == 20 * PAUSES


def test_a_system_file_that_goes_wrong_is_named(log: Path, tmp_path: Path) -> None:
    system = tmp_path / "system.toml"
    system.write_text("", encoding="utf-8")
    follower = Follower(log, system)
    follower.begin(Shelf())
    system.write_text("[tasks", encoding="utf-8")
    append(log, WHOLE[BEGIN : BEGIN + 4000])
    assert not follower.look()
    assert "system.toml" in follower.status.said
