"""One function, two ways to run it, the same numbers."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from tracelens import compiled as module
from tracelens.compiled import compiled

STEP = 3


def stepped(value: int) -> int:
    return value + STEP


def running(values: np.ndarray, total: np.ndarray) -> int:
    s = 0
    for i in range(len(values)):
        s = stepped(s + values[i])
        total[i] = s
    return s


def running_to(values: np.ndarray, total: np.ndarray, count: int) -> int:
    s = 0
    for i in range(count):
        s = stepped(s + values[i])
        total[i] = s
    return s


def corner(table: np.ndarray, pair: tuple[np.ndarray, int]) -> int:
    return table[1, 1] + pair[0][0] + pair[1]


@pytest.fixture(params=["TRACELENS_PLAIN", "TRACELENS_COMPILED"])
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """One of the two ways, forced as a user would force it."""
    for name in ("TRACELENS_PLAIN", "TRACELENS_COMPILED"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv(request.param, "1")
    return str(request.param)


def test_a_function_and_what_it_calls_give_the_same_either_way(way: str) -> None:
    total = np.zeros(4, np.int64)
    assert compiled(running, 4)(np.arange(4, dtype=np.int32), total) == 18
    assert total.tolist() == [3, 7, 12, 18]


def test_read_only_and_strided_arrays_and_tuples_are_taken(way: str) -> None:
    table = np.arange(12).reshape(3, 4)[:, ::2]
    fixed = np.array([5])
    fixed.flags.writeable = False
    assert compiled(corner, 1)(table, (fixed, np.int64(7))) == 6 + 5 + 7


@pytest.mark.parametrize("kind", [np.int8, np.uint8, np.int32, np.uint32, np.int64])
def test_pointers_give_the_same_numbers(way: str, kind: type) -> None:
    total = np.zeros(5, np.int64)
    values = np.frombuffer(np.array([3, 1, 4, 1], kind).tobytes(), kind)  # not to be written
    count = compiled(running_to, 4, pointers=True)
    assert count(values, total[1:], 4) == 21
    assert total.tolist() == [0, 6, 10, 17, 21]


def test_a_pointer_is_to_numbers_that_lie_in_a_row(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TRACELENS_COMPILED", "1")
    with pytest.raises(TypeError, match="no plain row"):
        compiled(running_to, 4, pointers=True)(np.zeros(8)[::2], np.zeros(4, np.int64), 4)


def test_elements_are_exact_integers(way: str) -> None:
    """2^53 + 1 is the first integer that a float cannot hold (IEEE 754 binary64)."""
    total = np.zeros(1, np.int64)
    assert compiled(running, 1)(np.array([2**53 - 2]), total) == 2**53 + 1


def test_uint64_is_refused_because_numba_would_make_floats_of_it(way: str) -> None:
    with pytest.raises(TypeError, match="uint64"):
        compiled(running, 1)(np.zeros(1, np.uint64), np.zeros(1, np.int64))


def test_few_rows_are_not_worth_compiling(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("TRACELENS_PLAIN", raising=False)
    monkeypatch.delenv("TRACELENS_COMPILED", raising=False)
    assert compiled(running, 10) is not compiled(running, 10**6)
    monkeypatch.setattr(module, "find_spec", lambda _name: None)
    assert compiled(running, 10) is compiled(running, 10**6)


def test_machine_code_is_kept_only_as_long_as_what_it_was_made_from(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    before = module._fingerprint(running)
    assert module._fingerprint(running) == before
    monkeypatch.setitem(globals(), "STEP", 4)
    assert module._fingerprint(running) != before


@pytest.mark.night
def test_of_two_processes_that_start_together_one_compiles(tmp_path: Path) -> None:
    """numba's debug messages tell who saves what: NUMBA_DEBUG_CACHE, NUMBA_CACHE_DIR."""
    code = (
        "import numpy as np; from tests.test_compiled import running\n"
        "from tracelens.compiled import compiled\n"
        "compiled(running, 1_000_000)(np.arange(4), np.zeros(4, np.int64))"
    )
    surroundings = {"NUMBA_CACHE_DIR": str(tmp_path), "NUMBA_DEBUG_CACHE": "1"}
    both = [
        subprocess.Popen(
            [sys.executable, "-c", code],
            env={**os.environ, **surroundings},
            cwd=Path(__file__).parents[1],
            stdout=subprocess.PIPE,
            text=True,
        )
        for _ in range(2)
    ]
    saved = [process.communicate()[0].count("data saved") for process in both]
    assert [process.returncode for process in both] == [0, 0]
    assert min(saved) == 0 < max(saved)
