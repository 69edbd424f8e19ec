"""`import tracelens as tl`: cheap to import, and the whole reading of a run in two calls."""

import subprocess
import sys
from pathlib import Path

import pytest

import tracelens as tl

ROOT = Path(__file__).parents[2]
LOG = ROOT / "tests" / "micro" / "08_third_party_inversion.csv"


def test_the_import_brings_nothing_heavy_along():
    code = "import sys, tracelens; print(sorted({'polars', 'numpy', 'dash'} & set(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout == "[]\n"


def test_every_name_of_the_facade_is_there():
    assert [name for name in tl.__all__ if not hasattr(tl, name)] == []


@pytest.mark.parametrize("logs", [LOG, str(LOG), [LOG]], ids=["path", "text", "list"])
def test_a_run_is_read_and_analysed(logs):
    analysis = tl.analyse(tl.read(logs))
    found = dict(zip(analysis.tasks["task"], analysis.tasks["response_max_ns"], strict=True))
    assert found == {"high": 48_000, "mid": 20_000, "low": 63_000, "idle": None}


def test_a_window_leaves_out_what_is_not_inside():
    analysis = tl.analyse(tl.read(LOG), window=(25_000, 60_000))
    assert analysis.window == (25_000, 60_000)
    assert analysis.tasks.filter(analysis.tasks["jobs"] > 0)["task"].to_list() == ["mid"]


def test_errors_are_one_tree():
    with pytest.raises(tl.TraceLensError, match="no such file"):
        tl.read("nowhere.csv")
    with pytest.raises(tl.UsageError, match="no such phase"):
        tl.analyse(tl.read(LOG), phase="knit")


def test_two_runs_are_compared():
    run = tl.analyse(tl.read(LOG))
    found = tl.compare([run], [run])
    assert (found.case, found.moved.height) == ("one_run", 0)
    assert [one.name for one in (*found.old, *found.new)] == ["old 1", "new 1"]
