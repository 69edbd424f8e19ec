"""Large arrays in a file where memory is short: the same results."""

import io
import mmap
from pathlib import Path

import numpy as np
import pytest

from tests.random_logs import random_log
from tracelens import room
from tracelens.analysis import analyse
from tracelens.handed import as_column
from tracelens.log import read_bytes
from tracelens.reconstruct import reconstruct
from tracelens.report.document import document
from tracelens.report.text import show

GB = 1 << 30


@pytest.fixture
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    """However small an array is, memory is short."""
    monkeypatch.setattr(room, "_LARGE", 0)
    monkeypatch.setattr(room, "memory", lambda: (GB, 16 * GB))


def test_an_array_in_a_file_is_an_array(short: None, tmp_path: Path) -> None:
    array = room.empty(1000, np.int32)
    array[:] = np.arange(1000)
    assert type(array) is np.ndarray
    assert not array.flags.owndata
    assert int(array.sum()) == 499_500


def in_memory(array: np.ndarray) -> bool:
    return not isinstance(array.base, np.memmap)


@pytest.mark.parametrize(
    ("free", "whole", "expected"),
    [(9, 16, True), (8, 16, False), (3, 4, True), (2, 4, False), (1, 16, False)],
)
def test_half_of_the_memory_stays_free(
    free: int, whole: int, expected: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(room, "memory", lambda: (free * GB, whole * GB))
    assert in_memory(room.empty(room._LARGE, np.uint8)) is expected
    assert in_memory(room.empty(room._LARGE - 1, np.uint8))


def test_an_array_that_is_one_of_many_is_in_a_file(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(room, "memory", lambda: (GB, GB))
    assert in_memory(room.empty(GB // 20, np.uint8))
    assert not in_memory(room.empty(GB // 20 + 1, np.uint8))


def test_while_one_lies_in_a_file_other_large_ones_do(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(room, "memory", lambda: (GB, GB))
    first = room.empty(GB // 20 + 1, np.uint8)
    part = first[5:]
    del first
    assert not in_memory(room.empty(room._LARGE, np.uint8))
    assert in_memory(room.empty(room._LARGE - 1, np.uint8))
    del part
    assert in_memory(room.empty(room._LARGE, np.uint8))


@pytest.fixture
def spare(monkeypatch: pytest.MonkeyPatch) -> list[mmap.mmap]:
    """The rooms that are kept: none at first."""
    kept: list[mmap.mmap] = []
    monkeypatch.setattr(room, "_spare", kept)
    return kept


def test_the_room_of_an_array_serves_the_next_of_about_its_size(spare: list[mmap.mmap]) -> None:
    first = room.empty(room._KEPT, np.uint32)
    place = first.ctypes.data
    assert type(first) is np.ndarray
    first[:] = 7
    del first
    assert len(spare) == 1
    assert room.empty(2 * room._KEPT - 1, np.uint8).ctypes.data != place  # half would be wasted
    second = room.empty(2 * room._KEPT // 8, np.int64)
    assert second.ctypes.data == place
    second[:] = 3  # it may be written to as a whole
    assert int(second.sum()) == 3 * len(second)


def test_what_somebody_holds_a_part_of_is_not_given_to_another(spare: list[mmap.mmap]) -> None:
    array = room.empty(room._KEPT, np.int64)
    array[:] = np.arange(room._KEPT)
    place = array.ctypes.data
    column = as_column(array[5:][:100].view(np.uint64))
    del array
    other = room.empty(room._KEPT, np.int64)
    assert not spare
    assert other.ctypes.data != place
    other[:] = 0
    assert column.to_list() == list(range(5, 105))
    del column
    assert len(spare) == 1
    assert room.empty(room._KEPT, np.int64).ctypes.data == place


def test_no_more_is_kept_than_may_be(
    spare: list[mmap.mmap], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(room, "_MOST_SPARE", 3 * room._KEPT)
    arrays = [room.empty(room._KEPT, np.uint8) for _ in range(5)]
    arrays.clear()
    assert len(spare) == 3


def test_where_the_system_has_no_such_room_an_array_is_numpys(
    spare: list[mmap.mmap], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delattr(mmap, "MADV_FREE")
    assert room.empty(room._KEPT, np.uint8).flags.owndata
    assert not spare


def test_where_there_is_no_fresh_memory_the_spare_is_given_up(
    spare: list[mmap.mmap], monkeypatch: pytest.MonkeyPatch
) -> None:
    room.empty(room._KEPT, np.uint8)
    assert spare

    def none_left(*_: object) -> None:
        raise OSError(12, "Cannot allocate memory")

    monkeypatch.setattr(mmap, "mmap", none_left)
    room.empty(3 * room._KEPT, np.uint8)
    assert not spare


def test_no_room_in_the_file_either_is_no_traceback_of_the_system(
    short: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.posix_fallocate", full)
    with pytest.raises(MemoryError, match=r"^no room for 8000 bytes in .*No space left"):
        room.empty(1000, np.int64)


@pytest.mark.parametrize("seed", range(4))
def test_a_report_is_the_same(seed: int, short: None, monkeypatch: pytest.MonkeyPatch) -> None:
    data = random_log(seed, events=300, cores=1 + seed % 2, messy=seed > 1).encode()

    def told() -> str:
        out = io.StringIO()
        show(document(analyse(reconstruct(read_bytes(data, "log")))), out, width=80)
        return out.getvalue()

    monkeypatch.setenv("TRACELENS_COMPILED", "1")
    in_files = told()
    monkeypatch.setattr(room, "_LARGE", GB)
    assert told() == in_files


def test_what_the_machine_has_is_known_where_the_system_tells() -> None:
    """/proc/meminfo is proc(5)'s."""
    free, whole = room.memory() or (0, 0)
    assert (0 < free < whole) == Path("/proc/meminfo").exists()


@pytest.mark.parametrize(
    ("told", "files", "expected"),
    [
        (
            "0::/a/b\n",
            {"a/memory.max": "4096", "a/memory.stat": "anon 1000\nfile 9\n"},
            (4096, 1000),
        ),
        (
            "4:cpu:/x\n5:memory:/c\n",
            {"memory/c/memory.limit_in_bytes": "8192", "memory/c/memory.stat": "total_rss 7\n"},
            (8192, 7),
        ),
        ("0::/a\n", {"a/memory.max": "max"}, None),
    ],
    ids=["version 2, of the group above", "version 1", "without a limit"],
)
def test_limits_of_control_groups(
    told: str,
    files: dict[str, str],
    expected: tuple[int, int] | None,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The files are those of the kernel's documents cgroup-v2.rst and cgroup-v1/memory.rst."""
    for name, text in files.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text)
    (tmp_path / "self").write_text(told)
    read = room._lines
    monkeypatch.setattr(
        room,
        "_lines",
        lambda file: read(tmp_path / "self" if str(file) == "/proc/self/cgroup" else file),
    )
    roots = [(str(tmp_path), *room._GROUPS[0][1:]), (f"{tmp_path}/memory", *room._GROUPS[1][1:])]
    monkeypatch.setattr(room, "_GROUPS", roots)
    assert list(room._groups()) == ([expected] if expected else [])
