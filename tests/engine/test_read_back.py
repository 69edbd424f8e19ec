"""A log written by the engine reads back to what the engine knows: jobs, ledgers, inversions."""

import random
from pathlib import Path

import pytest

from tests.engine.random_sets import random_set
from tests.engine.read_back import differences
from tracelens.engine import simulate
from tracelens.formats.taskset_toml import parse_taskset, read_taskset

SAMPLES = sorted(
    path
    for path in (Path(__file__).parents[2] / "sample_traces").rglob("*.toml")
    if not path.stem.endswith("_budgets")  # limits, not the work of a system
    and path.parent.name != "mapping"  # how to read other recordings
)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_samples(path):
    done = simulate(read_taskset(path))
    assert differences(done) == []


IN_EVERY_RUN = 160
TOLD_APART = {136}
"""Seeds at which several waiters are handed one lock on several cores: the machine and the log
differ on whose core the later ones look at."""


def _differing(seeds: range) -> set[int]:
    found = set()
    for seed in seeds:
        taskset = parse_taskset(random_set(random.Random(seed)))
        done = simulate(taskset, seed=seed, until_ns=40_000_000)
        if done.truth.deadlocks.is_empty() and differences(done):
            found.add(seed)
    return found


@pytest.mark.parametrize("block", range(4))
def test_random_sets(block):
    seeds = range(block * IN_EVERY_RUN // 4, (block + 1) * IN_EVERY_RUN // 4)
    assert _differing(seeds) == TOLD_APART & set(seeds)


@pytest.mark.night
def test_thousands_of_random_sets():
    assert len(_differing(range(IN_EVERY_RUN, 4000))) <= 0.01 * (4000 - IN_EVERY_RUN)
