"""The same question has the same answer, byte for byte, whatever the surroundings.

Every command is run on every sample and on random logs, again in processes whose surroundings
differ in what may differ from machine to machine and from day to day, and again with a table
library that keeps no order which it does not promise.
"""

import os
import subprocess
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Final

import numpy as np
import pytest

from tests.same_answer.commands import (
    ROOT,
    Asked,
    asked_of_logs,
    asked_of_several,
    asked_quickly,
    lay_out,
)
from tests.same_answer.run import differing, read, say
from tests.same_answer.unpromised import unpromised

UNSET: Final = ("TRACELENS_PLAIN", "TRACELENS_COMPILED", "COLUMNS", "LC_ALL", "LANG", "TZ")
NOW: Final = {"SOURCE_DATE_EPOCH": "1772442000"}
"""A history keeps when a run was added: that is given."""

USUAL: Final = {"PYTHONHASHSEED": "0"}
SURROUNDINGS: Final = {
    "one thread, nothing compiled": {
        "PYTHONHASHSEED": "1",
        "POLARS_MAX_THREADS": "1",
        "NUMBA_NUM_THREADS": "1",
        "OPENBLAS_NUM_THREADS": "1",
        "TRACELENS_PLAIN": "1",
        "LC_ALL": "C",
        "PYTHONCOERCECLOCALE": "0",
        "PYTHONUTF8": "0",
        "TZ": "America/St_Johns",
    },
    "many threads, all compiled": {
        "PYTHONHASHSEED": "12345",
        "POLARS_MAX_THREADS": "4",
        "NUMBA_NUM_THREADS": "2",
        "OPENBLAS_NUM_THREADS": "4",
        "TRACELENS_COMPILED": "1",
        "LC_ALL": "de_DE.UTF-8",  # where it is installed it writes 0,5; else it is the locale C
        "TZ": "Asia/Kathmandu",
    },
    "an older processor, tables in streams": {
        "PYTHONHASHSEED": "random",
        "POLARS_MAX_THREADS": "2",
        "POLARS_ENGINE_AFFINITY": "streaming",
        # What numpy finds in this processor beyond what it needs.
        "NPY_DISABLE_CPU_FEATURES": " ".join(
            name
            for name in np._core._multiarray_umath.__cpu_dispatch__
            if np._core._multiarray_umath.__cpu_features__.get(name)
        ),
        "LC_ALL": "C.UTF-8",
        "TZ": "Pacific/Apia",
    },
}


def answers(folder: Path, changes: dict[str, str], *options: str) -> dict[str, str]:
    """The digests of a process of its own, in these surroundings."""
    env = {key: value for key, value in os.environ.items() if key not in UNSET}
    subprocess.run(
        [sys.executable, "-m", "tests.same_answer", str(folder), *options],
        env={**env, **NOW, **changes, "PYTHONPATH": str(ROOT)},
        cwd=ROOT,
        check=True,
        timeout=3000,
    )
    return read((folder / "digests.txt").read_text(encoding="utf-8"))


@pytest.mark.night
def test_answers_in_other_surroundings(tmp_path: Path) -> None:
    """Also in another directory, and with the questions in another order."""
    usual = answers(tmp_path / "usual", USUAL)
    assert len(usual) > 3000
    unlike = {
        name: differing(usual, answers(tmp_path / name, changes, "--backwards"))
        for name, changes in SURROUNDINGS.items()
    }
    assert not any(unlike.values()), unlike


def in_no_order(
    folder: Path, asked: Callable[[Path], Iterable[Asked]], seeds: Iterable[int]
) -> dict[int, list[str]]:
    """What is answered in another way by a table library that keeps no order, for each seed."""
    lay_out(folder / "usual")
    usual = say(folder / "usual", list(asked(folder / "usual")))
    unlike = {}
    for seed in seeds:
        place = folder / str(seed)
        lay_out(place)
        with unpromised(seed):
            unlike[seed] = differing(usual, say(place, list(asked(place))))
    return unlike


def test_no_order_counts_that_is_not_promised_quickly(tmp_path: Path) -> None:
    assert in_no_order(tmp_path, lambda _folder: asked_quickly(), [1]) == {1: []}


@pytest.mark.night
def test_no_order_counts_that_is_not_promised(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", NOW["SOURCE_DATE_EPOCH"])
    unlike = in_no_order(
        tmp_path, lambda folder: [*asked_of_logs(folder), *asked_of_several()], [1, 2]
    )
    assert unlike == {1: [], 2: []}
