"""Bytes in memory and on disk, read a window at a time."""

import os
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.log.texts import log_text, rows
from tests.random_logs import random_log
from tracelens.errors import LogError
from tracelens.log import read, read_bytes, scan, sources, text
from tracelens.log.text import OnDisk, Stretch, Text

LINES = [b"first", b"", b"second \xc3\xa4", b"x" * 70_000, b"last"]
DATA = b"\n".join(LINES)


@pytest.fixture(params=["memory", "disk", "some of each"])
def whole(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Text]:
    """The same bytes, wherever they are."""
    file = tmp_path / "log"
    file.write_bytes(b"before" + DATA)
    descriptor = os.open(file, os.O_RDONLY)
    on_disk, end = OnDisk("log", descriptor), len(DATA) + 6
    yield {
        "memory": Text.of(DATA),
        "disk": Text(Stretch(on_disk, 6, end)),
        "some of each": Text(Stretch(DATA, 0, 9), Stretch(b"", 0, 0), Stretch(on_disk, 15, end)),
    }[request.param]
    os.close(descriptor)


def test_any_bytes_of_it(whole: Text) -> None:
    assert whole.size == len(DATA)
    rng = random.Random(1)
    for _ in range(200):
        start, stop = sorted(rng.randrange(len(DATA) + 20) for _ in range(2))
        assert whole.read(start, stop) == DATA[start:stop]


def test_its_lines(whole: Text, monkeypatch: pytest.MonkeyPatch) -> None:
    for window in (1, 3, 1 << 16):
        monkeypatch.setattr(text, "_WINDOW", window)
        for number in (1, 2, 3, 5):
            assert whole.line(number) == LINES[number - 1].decode()
        assert whole.last_line() == b"last"
        assert whole.line_end(0) == 5
        assert whole.line_end(len(DATA) - 2) == len(DATA)


def test_its_first_line_taken_off(whole: Text) -> None:
    line, rest = whole.without_first_line()
    assert line.read(0, 99) == b"first\n"
    assert rest.read(0, rest.size) == DATA[5:]


def test_a_file_that_becomes_shorter_is_an_error_of_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "log.csv"
    file.write_bytes(log_text(*[f"{t},0,mark,m," for t in range(1000)]))
    descriptor = os.open(file, os.O_RDWR)
    whole = Text(Stretch(OnDisk("log.csv", descriptor), 0, file.stat().st_size))
    os.truncate(descriptor, 500)
    with pytest.raises(LogError, match=r"^log.csv: became shorter while it was read: found 500"):
        whole.read(0, whole.size)
    os.close(descriptor)


@pytest.mark.parametrize("line", [b"1,0,sleep", b"2,0,mark,m,longer than before"])
def test_a_file_that_is_written_anew_meanwhile_is_an_error_of_one_line(
    line: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The room for the events is made for the lines that there were at first."""
    file = tmp_path / "log.csv"
    file.write_bytes(b"1,0,mark,m,\n" * 500)
    size = file.stat().st_size
    counted = scan._line_ends

    def count_and_write(*given: Any) -> int:
        count = counted(*given)
        file.write_bytes(
            (line + b"\n") * (size // (len(line) + 1)) + b"\n" * (size % (len(line) + 1))
        )
        return count

    monkeypatch.setattr(scan, "_line_ends", count_and_write)
    monkeypatch.setattr(scan, "_BLOCK", 100)
    monkeypatch.setenv("TRACELENS_PLAIN", "1")
    descriptor = os.open(file, os.O_RDONLY)
    with pytest.raises(LogError, match=r"^log.csv: was changed while it was read: .*$"):
        scan.scan(Text(Stretch(OnDisk("log.csv", descriptor), 0, size)))
    os.close(descriptor)


def test_room_in_the_file_that_was_never_written_to_is_not_read_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is as many zeros as there was room, in one line without an end."""
    files = [tmp_path / name for name in ("a.csv", "b.csv")]
    for file in files:
        file.write_bytes(log_text(*[f"{t},0,mark,m," for t in range(9)]))
        os.truncate(file, 1 << 20)
    read_at_once: list[int] = []

    class Watched(Text):
        def read(self, start: int, stop: int) -> bytes:
            data = super().read(start, stop)
            read_at_once.append(len(data))
            return data

    monkeypatch.setattr(sources, "Text", Watched)
    monkeypatch.setattr(sources, "_LARGE", 1)
    monkeypatch.setenv("TRACELENS_COMPILED", "1")
    log = read(files)
    assert (len(log.events), log.unused["count"].to_list()) == (18, [2])
    assert 0 < max(read_at_once) <= text._WINDOW


@pytest.mark.parametrize("seed", range(6))
def test_a_log_is_the_same_from_disk(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = random_log(seed, events=200, cores=1 + seed % 2).encode()
    data = b"\xef\xbb\xbf" * (seed % 2) + whole[: len(whole) - seed]
    cut = len(data) * (seed + 2) // 9
    files = [tmp_path / name for name in ("whole", "a", "b")]
    for file, part in zip(files, (data, data[:cut], data[cut:]), strict=True):
        file.write_bytes(part)
    monkeypatch.setattr(sources, "_LARGE", 1)
    monkeypatch.setattr("tracelens.log.scan._BLOCK", 100)
    monkeypatch.setenv("TRACELENS_COMPILED", "1")
    log, parts, plain = read(files[0]), read(files[1:]), read_bytes(data, "whole")
    assert log.events.equals(plain.events)
    assert (log.declared, log.lines, log.warnings) == (plain.declared, plain.lines, plain.warnings)
    assert rows(parts) == rows(plain)
    assert parts.declared.tasks == plain.declared.tasks


def test_a_line_that_does_not_end_is_one_that_is_not_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tracelens.log.scan._BLOCK", 1 << 10)
    monkeypatch.setattr("tracelens.log.scan._LONGEST_LINE", 1 << 12)
    monkeypatch.setattr("tracelens.log.scan._DECODED", 1 << 9)
    monkeypatch.setenv("TRACELENS_COMPILED", "1")
    long = "2,0,mark," + "m" * 50_000
    log = read_bytes(log_text("1,0,mark,m,", long, "#" + "r" * 9999, "3,0,mark,m,"), "log")
    assert log.events["line"].to_list() == [4, 7]
    assert log.unused["count"].to_list() == [1, 1]
