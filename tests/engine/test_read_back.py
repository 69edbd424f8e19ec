"""A log written by the engine reads back to what the engine knows: jobs, ledgers, inversions."""

import random
from pathlib import Path

import pytest

from tests.engine.random_sets import random_set
from tests.engine.read_back import differences
from tracelens.engine import simulate
from tracelens.formats.taskset_toml import parse_taskset, read_taskset

SAMPLES = sorted((Path(__file__).parents[2] / "sample_traces").rglob("*.toml"))


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_samples(path):
    done = simulate(read_taskset(path))
    found = differences(done)
    if done.truth.deadlocks.height:
        # What to call the time of a job that waits for itself, the definitions leave open.
        found = [line for line in found if not line.startswith("ledgers")]
    assert found == []


@pytest.mark.parametrize("block", range(4))
def test_random_sets(block):
    for seed in range(block * 20, block * 20 + 20):
        text = random_set(random.Random(seed))
        done = simulate(parse_taskset(text), seed=seed, until_ns=40_000_000)
        if done.truth.deadlocks.is_empty():
            assert differences(done) == [], (seed, text)
