"""A program of a user's, checked by mypy as strictly as it can, against the package as it is."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

import tracelens

ROOT = Path(__file__).parents[2]

PROGRAM = """\
from typing import assert_type

import polars as pl
import tracelens as tl
from tracelens.replay import Change, Prediction, Replayer, parse, prepare, replay
from tracelens.testing import Measured, MeasuredRun, Thing, assert_meets, measure

run = tl.read(["first.csv", "second.csv"], "machine.toml", strict=True)
assert_type(run, tl.Timeline)
assert_type(run.jobs, pl.DataFrame)
analysis = tl.analyse(run, window=(0, 1_000_000))
assert_type(analysis, tl.Analysis)
assert_type(analysis.tasks, pl.DataFrame)
assert_type(analysis.findings, tuple[tl.Finding, ...])
assert_type(analysis.findings[0].at_ns, int | None)
assert_type(tl.check(run, "budgets.toml"), tl.Verdicts)
assert_type(tl.compare([analysis], [analysis], error_rate=0.01), tl.Comparison)

change = parse("protocol", "flash_bus=inherit")
assert_type(change, Change)
then = replay(run, [change])
assert_type(then, Prediction)
assert_type(then.predicted.jobs, pl.DataFrame)
assert_type(then.fidelity.share, float)
assert_type(prepare(run), Replayer)

measured = measure("run.csv")
assert_type(measured, MeasuredRun)
assert_type(measured.task("needle_select"), Thing)
assert_type(measured.task("needle_select").response.max_us, Measured)
assert_type(measured.during("knit").core("main").load_max < 0.7, bool)
assert_meets(measured, "budgets.toml")
"""

WRONG = {
    "tl.read(3)": "arg-type",
    'tl.analyse("run.csv")': "arg-type",
    'tl.reed("run.csv")': "attr-defined",
    'parse("colour", "a=b")': "arg-type",
    "measure('run.csv').task(1)": "arg-type",
    "measure('run.csv').task('a').response_max_us < '1 ms'": "operator",
}


def checked(program: str, folder: Path) -> tuple[int, str]:
    """Exit status and output of mypy over a program that lies beside nothing of the package."""
    (folder / "program.py").write_text(program, encoding="utf-8")
    done = subprocess.run(
        [
            *(sys.executable, "-m", "mypy", "--strict", "--disallow-any-expr", "--config-file="),
            *("--cache-dir", str(folder / "cache"), "program.py"),
        ],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stdout


def test_the_package_says_that_it_is_typed():
    assert Path(tracelens.__file__).with_name("py.typed").exists()


@pytest.mark.night
def test_a_strict_check_passes_and_tells_each_mistake(tmp_path):
    status, said = checked(PROGRAM, tmp_path)
    assert status == 0, said
    first = PROGRAM.count("\n") + 1
    status, said = checked(PROGRAM + "".join(f"{line}\n" for line in WRONG), tmp_path)
    told = re.findall(r"^program\.py:(\d+): error: .*\[([a-z-]+)\]$", said, re.MULTILINE)
    assert set(enumerate(WRONG.values(), first)) <= {(int(line), code) for line, code in told}
    assert {int(line) for line, _ in told} == set(range(first, first + len(WRONG)))
