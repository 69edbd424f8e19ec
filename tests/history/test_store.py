"""Runs added by several at once, by writers that are killed, and files that are no runs."""

import gzip
import os
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest

from tests.frames import assert_table
from tracelens.analysis import analyse
from tracelens.errors import InputError, LogError, UsageError
from tracelens.history import store
from tracelens.history.summary import summarise
from tracelens.model.history import HISTORY, RUNS
from tracelens.reading import read
from tracelens.sealed import write_table

ROOT = Path(__file__).parents[2]
NOW = datetime(2026, 3, 2, 21, 4, tzinfo=UTC)

WRITER = """
import sys
from pathlib import Path
import polars as pl
from tracelens.history import store
folder, rows = Path(sys.argv[1]), pl.read_parquet(sys.argv[2])
first, last = int(sys.argv[3]), int(sys.argv[4])
for number in range(first, last):
    run = f"{number:032x}"
    if store.add(folder, run, rows.with_columns(run=pl.lit(run))):
        print(run, flush=True)
"""


@pytest.fixture(scope="module")
def rows() -> pl.DataFrame:
    analysis = analyse(read(ROOT / "sample_traces" / "knitting_inversion.csv"))
    return summarise(analysis, "0" * 32, "run.csv", NOW)


def named(rows: pl.DataFrame, run: str, start: datetime | None = None, **keys: str) -> pl.DataFrame:
    pairs = [{"key": key, "value": value} for key, value in keys.items()]
    return rows.with_columns(
        run=pl.lit(run),
        start=pl.lit(start, HISTORY.schema()["start"]),
        keys=pl.Series([pairs] * rows.height, dtype=HISTORY.schema()["keys"]),
    )


def writer(folder: Path, rows: pl.DataFrame, first: int, last: int) -> subprocess.Popen[str]:
    source = folder.parent / "rows.parquet"
    if not source.exists():
        rows.write_parquet(source)
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, folder, source, str(first), str(last)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
    )


def test_what_is_added_is_read_as_it_was(tmp_path, rows):
    assert store.add(tmp_path / "a" / "b", "0" * 32, rows)
    found = store.read(tmp_path / "a" / "b")
    assert_table(found.measures, HISTORY, {"value": rows["value"].to_list()})
    assert_table(found.runs, RUNS, {"run": ["0" * 32], "source": ["run.csv"]})
    assert found.measures.equals(rows)
    assert found.unreadable == ()


def test_a_history_is_a_plain_parquet_dataset(tmp_path, rows):
    for run in ("a", "b"):
        store.add(tmp_path, run, named(rows, run))
    dataset = pl.read_parquet(tmp_path / "*.parquet")
    assert dataset.height == 2 * rows.height


def test_the_same_run_twice_is_one_run(tmp_path, rows):
    assert store.add(tmp_path, "a", named(rows, "a"))
    assert not store.add(tmp_path, "a", named(rows, "a", build="other"))
    assert store.read(tmp_path).runs["keys"].to_list() == [[]]
    assert store.add(tmp_path, "a", named(rows, "a", build="new"), replace=True)
    assert store.read(tmp_path).runs["keys"].to_list() == [[{"key": "build", "value": "new"}]]


def test_the_address_is_of_the_content(tmp_path):
    text = (ROOT / "sample_traces" / "knitting_inversion.csv").read_bytes()
    plain, packed, other = (tmp_path / name for name in ("a.csv", "b.csv.gz", "c.csv"))
    plain.write_bytes(text)
    packed.write_bytes(gzip.compress(text))
    other.write_bytes(text + b"900000,0,mark,end,\n")
    assert store.address(plain) == store.address(packed) != store.address(other)
    with pytest.raises(LogError, match="no such file"):
        store.address(tmp_path / "nowhere.csv")
    with pytest.raises(UsageError, match="standard input"):
        store.address("-")


def test_runs_come_in_order_of_their_start_else_of_being_added(tmp_path, rows):
    store.add(tmp_path, "a", named(rows, "a"))  # added on the 2nd of March
    store.add(tmp_path, "b", named(rows, "b", datetime(2026, 3, 1, tzinfo=UTC)))
    store.add(tmp_path, "c", named(rows, "c", datetime(2026, 3, 3, tzinfo=UTC)))
    found = store.read(tmp_path)
    assert found.runs["run"].to_list() == ["b", "a", "c"]
    assert store.newest(found, 2).runs["run"].to_list() == ["a", "c"]
    assert set(store.newest(found, 2).measures["run"]) == {"a", "c"}
    assert store.newest(found, None) is found


def test_runs_are_chosen_by_their_keys(tmp_path, rows):
    for run, board in (("a", "x"), ("b", "y"), ("c", "x")):
        store.add(tmp_path, run, named(rows, run, board=board, build="1"))
    chosen = store.read(tmp_path, [("board", "x"), ("build", "1")])
    assert set(chosen.runs["run"]) == {"a", "c"}
    with pytest.raises(InputError, match="no run in this history has board=z: found 3 runs"):
        store.read(tmp_path, [("board", "z")])


def test_what_is_no_run_is_said_and_left_alone(tmp_path, rows):
    store.add(tmp_path, "a", named(rows, "a"))
    whole = (tmp_path / "run-a.parquet").read_bytes()
    (tmp_path / "run-torn.parquet").write_bytes(whole[: len(whole) // 2])
    (tmp_path / "run-empty.parquet").write_bytes(b"")
    pl.DataFrame({"x": [1]}).write_parquet(tmp_path / "run-other.parquet")
    null = named(rows, "null").with_columns(value=pl.lit(None, pl.Float64))
    (tmp_path / "run-null.parquet").write_bytes(write_table(null))
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    found = store.read(tmp_path)
    assert found.runs["run"].to_list() == ["a"]
    assert [text.partition(":")[0] for text in found.unreadable] == [
        "run-empty.parquet",
        "run-null.parquet",
        "run-other.parquet",
        "run-torn.parquet",
    ]
    assert (tmp_path / "notes.txt").exists()


def test_no_history_is_an_error(tmp_path):
    with pytest.raises(InputError, match="no such history"):
        store.read(tmp_path / "nowhere")
    with pytest.raises(InputError, match="no run in this history: found 0 runs"):
        store.read(tmp_path)


def test_a_place_that_cannot_be_written_is_an_error(tmp_path, rows):
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(UsageError, match="cannot be written"):
        store.add(tmp_path / "file", "a", rows)


def test_a_disk_that_fails_leaves_nothing_behind(tmp_path, rows, monkeypatch):
    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(UsageError, match="No space left"):
        store.add(tmp_path, "a", rows)
    assert list(tmp_path.iterdir()) == []


def test_without_links_it_is_renamed(tmp_path, rows, monkeypatch):
    def none(*_paths: Path) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", none)
    assert store.add(tmp_path, "a", named(rows, "a"))
    assert not store.add(tmp_path, "a", named(rows, "a"))
    assert [file.name for file in tmp_path.iterdir()] == ["run-a.parquet"]


def test_two_writers_at_once_lose_nothing(tmp_path, rows):
    """40 runs each, 20 of them the same: 60 in all, and each added by exactly one of the two."""
    folder = tmp_path / "history"
    both = [writer(folder, rows, 0, 40), writer(folder, rows, 20, 60)]
    added = [line for one in both for line in one.communicate()[0].split()]
    assert [one.returncode for one in both] == [0, 0]
    assert sorted(added) == [f"{number:032x}" for number in range(60)]
    found = store.read(folder)
    assert sorted(found.runs["run"]) == sorted(added)
    assert found.measures.height == 60 * rows.height
    assert found.unreadable == ()


def _killed(folder: Path, rows: pl.DataFrame, times: int) -> None:
    """What a killed writer said it had added is there, and whatever is there is whole."""
    said: list[str] = []
    for k in range(times):
        one = writer(folder, rows, 1000 * k, 1000 * (k + 1))
        assert one.stdout is not None
        said.append(one.stdout.readline().strip())
        time.sleep(0.003 * k)  # somewhere in the middle of a later write
        one.send_signal(signal.SIGKILL)
        said += one.communicate()[0].split()
    found = store.read(folder)
    assert found.unreadable == ()
    assert set(said) <= set(found.runs["run"])
    assert found.measures.height == found.runs.height * rows.height


def test_a_writer_that_is_killed_leaves_nothing_half(tmp_path, rows):
    _killed(tmp_path / "history", rows, 3)


@pytest.mark.night
def test_many_writers_that_are_killed_leave_nothing_half(tmp_path, rows):
    _killed(tmp_path / "history", rows, 60)


def test_what_a_killed_writer_left_is_swept_when_it_is_old(tmp_path, rows):
    old, young = (tmp_path / f"{store.UNFINISHED}{name}" for name in ("old", "young"))
    for left in (old, young):
        left.write_bytes(b"half")
    os.utime(old, (0, 0))
    store.add(tmp_path, "a", named(rows, "a"))
    assert (old.exists(), young.exists()) == (False, True)
    assert store.read(tmp_path).runs.height == 1
