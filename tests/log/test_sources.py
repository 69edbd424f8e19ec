"""Where a log may come from: files, compressed files, standard input, several parts."""

import gzip
import io
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import zstandard

from tests.log.texts import COLUMNS, RECORDINGS, log_text, rows, unused
from tracelens.errors import LogError
from tracelens.log import read, read_bytes

PLAIN = gzip.decompress((RECORDINGS / "kernel_wrap16.csv.gz").read_bytes())
LOG = read_bytes(PLAIN, "log")


@pytest.mark.parametrize(
    "data",
    [
        gzip.compress(PLAIN),
        gzip.compress(PLAIN[:5000]) + gzip.compress(PLAIN[5000:]) + b"\0" * 512,
        zstandard.compress(PLAIN),
        zstandard.compress(PLAIN[:5000]) + zstandard.compress(PLAIN[5000:]),
        b"\xef\xbb\xbf" + PLAIN,
        PLAIN.replace(b"\n", b"\r\n"),
    ],
    ids=["gzip", "gzip members", "zstd", "zstd frames", "byte order mark", "CR LF"],
)
def test_every_wrapping_gives_the_same_log(data: bytes, tmp_path: Path) -> None:
    file = tmp_path / "log.csv"  # told by content, not by name
    file.write_bytes(data)
    for log in (read(file), read_bytes(data, "log"), read_bytes(io.BytesIO(data), "log")):
        assert log.events.equals(LOG.events)
        assert (log.declared, log.lines, log.warnings) == (LOG.declared, LOG.lines, ())


def test_a_dash_is_standard_input(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(gzip.compress(PLAIN))))
    log = read("-")
    assert log.sources == ("standard input",)
    assert log.events.equals(LOG.events)


@pytest.mark.parametrize("pack", [gzip.compress, zstandard.compress], ids=["gzip", "zstd"])
def test_a_compressed_file_that_is_cut_gives_what_it_holds(pack: object) -> None:
    packed = pack(PLAIN)
    log = read_bytes(packed[: len(packed) * 3 // 4], "log")
    assert 0.4 < len(log.events) / len(LOG.events) < 1
    assert log.events.head(-1).equals(LOG.events.head(len(log.events) - 1))
    assert "file is cut or damaged (it ends early): what comes after is missing" in log.warnings[0]
    with pytest.raises(LogError, match="cut or damaged"):
        read_bytes(packed[: len(packed) * 3 // 4], "log", strict=True)


@pytest.mark.parametrize("pack", [gzip.compress, zstandard.compress], ids=["gzip", "zstd"])
def test_what_follows_a_compressed_file_is_not_dropped_in_silence(pack: object) -> None:
    log = read_bytes(pack(PLAIN) + b"1,0,start,t1,\n", "log")
    assert "(something else follows)" in log.warnings[0]


def test_a_compressed_file_cut_at_once_is_an_error() -> None:
    with pytest.raises(LogError, match=r"^log: nothing can be unpacked: expected an event log"):
        read_bytes(gzip.compress(PLAIN)[:12], "log")


def test_what_cannot_be_opened_is_an_error_of_one_line(tmp_path: Path) -> None:
    with pytest.raises(LogError, match=f"^{tmp_path}/none.csv: no such file$"):
        read(tmp_path / "none.csv")
    with pytest.raises(
        LogError, match=f"^{tmp_path}: cannot be read: found a directory, expected a file$"
    ):
        read(tmp_path)
    with pytest.raises(LogError, match="cannot be read: embedded null byte"):
        read("a\0b")
    with pytest.raises(LogError, match=r"^no log given$"):
        read([])


@contextmanager
def without_root() -> Iterator[None]:
    """Root may read anything, so what runs as root goes on as the user that has no rights."""
    if was_root := os.geteuid() == 0:
        os.seteuid(65534)
    try:
        yield
    finally:
        if was_root:
            os.seteuid(0)


def test_a_file_that_may_not_be_read_is_an_error(tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    file.write_bytes(PLAIN)
    file.chmod(0)
    with without_root(), pytest.raises(LogError, match="cannot be read: permission denied"):
        read(file)


def test_a_refused_permission_is_an_error(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def refuse(_path: Path, mode: str = "r", **_: object) -> bytes:
        raise PermissionError

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(LogError, match="cannot be read: permission denied"):
        read(tmp_path / "log.csv")


@pytest.mark.parametrize("cut", [900, 4000, 4001, 4002, 4003, 4010, 200_000, len(PLAIN) - 3])
def test_parts_cut_anywhere_read_end_to_end_are_the_log(cut: int, tmp_path: Path) -> None:
    """900 cuts a declaration in two, the others an event."""
    files = [tmp_path / "a.csv", tmp_path / "b.csv"]
    files[0].write_bytes(PLAIN[:cut])
    files[1].write_bytes(PLAIN[cut:])
    log = read(files)
    assert rows(log) == rows(LOG)
    assert log.declared.tasks == LOG.declared.tasks
    assert unused(log) == {}
    assert log.sources == (str(files[0]), str(files[1]))
    assert log.events["part"].to_list() == sorted(log.events["part"].to_list())


def test_lines_of_a_part_keep_their_numbers_in_their_file(tmp_path: Path) -> None:
    text = log_text("10,0,start,t1,", "20,0,wait,t1,delay", "30,0,start,t0,")
    cut = text.index(b"20,0") + 3
    (tmp_path / "a").write_bytes(text[:cut])
    (tmp_path / "b").write_bytes(text[cut:] + b"40,0,strat,t1,\n")
    log = read([tmp_path / "a", tmp_path / "b"])
    assert rows(log, "part", "line", "time_ns") == [(0, 4, 0), (0, 5, 10_000), (1, 2, 20_000)]
    assert unused(log) == {"unknown event word": (1, [f"{tmp_path}/b:3"])}
    with pytest.raises(LogError) as caught:
        read([tmp_path / "a", tmp_path / "b"], strict=True)
    assert caught.value.place == f"{tmp_path}/b:3"


def test_the_head_of_a_later_part_is_no_restart_but_a_step_back_is(tmp_path: Path) -> None:
    def write(name: str, *events: str) -> Path:
        (tmp_path / name).write_bytes(log_text(*events))
        return tmp_path / name

    first = write("a", "10,0,start,t1,", "500000,0,wait,t1,delay")
    later = write("b", "600000,0,start,t1,")
    again = write("c", "20,0,start,t1,")
    assert rows(read([first, later]), "boot", "time_ns") == [
        (0, 0),
        (0, 499_990_000),
        (0, 599_990_000),
    ]
    assert rows(read([first, again]), "boot", "time_ns") == [
        (0, 0),
        (0, 499_990_000),
        (1, 499_990_000),
    ]


def test_a_head_within_a_later_part_is_a_restart(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(log_text("10,0,mark,a,"))
    (tmp_path / "b").write_bytes(log_text("20,0,mark,b,", "#tracelens 1", "30,0,mark,c,"))
    assert read([tmp_path / "a", tmp_path / "b"]).events["boot"].to_list() == [0, 0, 1]


def test_files_with_cores_of_their_own_are_merged_by_time(tmp_path: Path) -> None:
    """A counter of 16 bits: core 1 begins after a wrap that its file does not show."""
    clock = "hz=1000000 bits=16"
    (tmp_path / "0").write_bytes(
        log_text("65000,0,mark,a,", "400,0,mark,c,", "2000,0,mark,e,", clock=clock)
    )
    (tmp_path / "1").write_bytes(log_text("100,1,mark,b,", "1000,1,mark,d,", clock=clock))
    for order in (["0", "1"], ["1", "0"]):
        log = read([tmp_path / name for name in order])
        assert rows(log, "time_ns", "core", "subject") == [
            (0, 0, "a"),
            (636_000, 1, "b"),
            (936_000, 0, "c"),
            (1_536_000, 1, "d"),
            (2_536_000, 0, "e"),
        ]
        assert log.start_ticks == 65_000


def test_boots_of_files_with_cores_of_their_own_are_matched_in_order(tmp_path: Path) -> None:
    zero = log_text("10,0,mark,a,", "500000,0,mark,b,", "#tracelens 1", "30,0,mark,c,")
    one = log_text("20,1,mark,d,", "600000,1,mark,e,", "#tracelens 1", "25,1,mark,f,")
    (tmp_path / "0").write_bytes(zero)
    (tmp_path / "1").write_bytes(one)
    log = read([tmp_path / "0", tmp_path / "1"])
    assert rows(log, "boot", "time_ns", "subject") == [
        (0, 0, "a"),
        (0, 10_000, "d"),
        (0, 499_990_000, "b"),
        (0, 599_990_000, "e"),
        (1, 599_990_000, "f"),
        (1, 599_995_000, "c"),
    ]
    (tmp_path / "1").write_bytes(one.replace(b"#tracelens 1\n25,", b"700000,"))
    assert (
        "the files of the cores have 1 to 2 boots"
        in read([tmp_path / "0", tmp_path / "1"]).warnings[0]
    )


def test_one_part_that_is_nothing_like_a_log_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(PLAIN)
    (tmp_path / "b").write_bytes(b"hello\nworld\n")
    with pytest.raises(LogError, match=f"^{tmp_path}/b:1: not an event log: found 'hello'"):
        read([tmp_path / "a", tmp_path / "b"])


def test_a_log_without_events_is_read_and_said_to_be_empty() -> None:
    log = read_bytes(f"#tracelens 1\n#clock hz=5\n{COLUMNS}".encode(), "log")
    assert (len(log.events), log.lines, log.start_ticks) == (0, 3, 0)
    assert log.warnings == ("the log has no events",)


def test_a_file_whose_name_is_no_utf8_is_read_and_named(tmp_path):
    file = tmp_path / os.fsdecode(b"run_\xff.csv")
    file.write_bytes(PLAIN)
    log = read([file])
    assert log.events.equals(LOG.events)
    assert log.sources == (f"{tmp_path}/run_\\udcff.csv",)
    with pytest.raises(LogError, match=r"gone_\\udcff"):
        read([tmp_path / os.fsdecode(b"gone_\xff.csv")])
