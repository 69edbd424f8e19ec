"""A run replayed unchanged is the run: all of a simulated one, nearly all of a real one."""

import random

import polars as pl
import pytest

from tests.engine.random_sets import random_set
from tests.replay.again import ROOT, SAMPLES, responses, simulated
from tracelens.errors import SystemFileError
from tracelens.reading import read
from tracelens.replay import replay
from tracelens.replay.matching import matched

WHOLE = sorted(path for path in SAMPLES.rglob("*.csv") if "bad_capture" not in path.name)
ALIKE = ("healthy", "mended", "thin_stack", "asleep", "overloaded", "inversion")
"""Samples in which nothing happens that does not in the others."""
RECORDINGS = ROOT / "tests" / "recordings"


@pytest.mark.parametrize(
    "path",
    [
        pytest.param(path, marks=pytest.mark.night) if path.stem.endswith(ALIKE) else path
        for path in WHOLE
    ],
    ids=lambda path: path.stem,
)
def test_a_sample_comes_out_as_recorded(path):
    run = read(path)
    told = replay(run)
    assert responses(told.predicted).equals(responses(run))
    assert told.fidelity.exact == told.fidelity.jobs
    assert told.fidelity.off == ()
    assert told.worse == []


def _inexact(seeds: range) -> set[int]:
    """Seeds of random task sets of one core whose replay differs anywhere."""
    wrong = set()
    for seed in seeds:
        text = random_set(random.Random(seed), cores=1)
        try:
            run = simulated(text, seed=seed, until_ns=20_000_000)
        except SystemFileError:
            continue
        if not run.deadlocks.is_empty():
            continue
        if not responses(replay(run).predicted).equals(responses(run)):
            wrong.add(seed)
    return wrong


GUESSED_WRONG = {21, 22}
"""Seeds whose log does not tell whose act an activation was that time brings about as well."""


def test_random_sets_come_out_as_recorded():
    assert _inexact(range(10, 23)) == GUESSED_WRONG


@pytest.mark.night
def test_hundreds_of_random_sets():
    assert len(_inexact(range(30, 630))) <= 60


def _near(name: str, within_ns: int) -> float:
    run = read(RECORDINGS / name)
    both = matched(run, replay(run).predicted)
    error = (both["response_ns_after"] - both["response_ns"]).abs()
    return float((error <= within_ns).fill_null(False).mean())


def test_a_real_kernel(monkeypatch):
    """A preemptive kernel with inheriting mutexes, time slices, nested interrupts: 15 s."""
    run = read(RECORDINGS / "kernel_healthy.csv.gz")
    monkeypatch.setenv("TRACELENS_PLAIN", "1")  # compiling takes longer than it saves here
    told = replay(run)
    both = matched(run, told.predicted)
    error = (both["response_ns_after"] - both["response_ns"]).abs()
    assert both.height == 3139
    assert (error <= 25_000).mean() > 0.98
    by_task = told.tasks.select(
        "task",
        p50=(pl.col("predicted_p50_ns") / pl.col("recorded_p50_ns") - 1).abs(),
        longest=(pl.col("predicted_max_ns") / pl.col("recorded_max_ns") - 1).abs(),
    )
    assert by_task["p50"].max() < 0.01
    assert by_task["longest"].max() < 0.01


@pytest.mark.night
@pytest.mark.parametrize(
    ("name", "share"),
    [
        ("kernel_healthy.csv.gz", 0.98),
        ("kernel_lossy.csv.gz", 0.98),
        ("kernel_wrap16.csv.gz", 0.9),  # its tick, after which equals take turns, is not recorded
    ],
)
def test_other_recordings(name, share):
    assert _near(name, 25_000) > share


def test_a_damaged_log_is_replayed_between_its_losses():
    run = read(SAMPLES / "knitting_bad_capture.csv")
    told = replay(run)
    assert told.fidelity.share > 0.95
    assert any("unknown time" in note for note in told.fidelity.notes)
    assert told.predicted.log.restarts == run.log.restarts
    assert told.predicted.lost_events >= run.lost_events
