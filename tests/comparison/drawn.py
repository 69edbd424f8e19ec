"""Runs drawn at random, without a schedule: jobs that depend on earlier ones, boards that vary.

Each task's executions are an AR(1) series with a spread of 10 %; the board and the boot multiply
all executions of a run. Responses add an interference that is autocorrelated as well, so a few jobs
are late, in clusters.
"""

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from tracelens.comparison.observed import WINDOWS, Observed, Setup

US = 1000
SPREAD = 0.10
BASE = 300 * US
"""Mean execution of `t0`; the k-th task after it has k times as much in addition."""


@dataclass(frozen=True)
class Kind:
    """What runs are drawn from. `slower` multiplies the executions of the task `t0`."""

    jobs: int = 500
    tasks: int = 7
    memory: float = 0.5  # correlation of one job with the one before
    boards: float = 0.01  # spread from run to run, of all executions together
    slower: float = 1.0


def run(kind: Kind, rng: np.random.Generator, name: str = "run") -> Observed:
    board = 1 + kind.boards * rng.standard_normal()
    execution, response, series, single = {}, {}, {}, {}
    whole = np.zeros(WINDOWS)
    for number in range(kind.tasks):
        task = f"t{number}"
        jobs = max(20, kind.jobs >> (number // 2) if number else kind.jobs)
        base = BASE * (1 + number) * board * (kind.slower if number == 0 else 1)
        own = base * (1 + SPREAD * ar1(jobs, kind.memory, rng))
        wait = 80 * US * ar1(jobs, kind.memory, rng) ** 2
        execution[task] = _ticks(np.maximum(own, base / 2))
        response[task] = _ticks(execution[task] + wait)
        deadline = BASE * (1 + number) * 1.6
        series["misses", task] = (response[task] > deadline).astype(float)
        load = np.interp(np.linspace(0, jobs - 1, WINDOWS), np.arange(jobs), own) / base * 0.1
        series["load", task] = load * base / (BASE * (1 + number))
        whole += series["load", task]
        single["stack", task] = 400.0 - 4 * rng.poisson(10)
        single["longest_response", task] = float(response[task].max())
        begins = rng.random(WINDOWS) < 0.02
        series["inversion", task] = np.where(begins, rng.exponential(0.1, WINDOWS), 0.0)
    series["load", "core 0"] = whole
    return Observed(
        setup=Setup(name, hz=1_000_000, span_ns=1_000_000_000),
        execution=execution,
        response=response,
        series=series,
        single=single,
        ran=frozenset(execution),
    )


def pair(
    kind: Kind, other: Kind, old: int, new: int, seed: int
) -> tuple[list[Observed], list[Observed]]:
    """`old` runs of one kind, `new` of another."""
    rng = np.random.default_rng([seed, old, new])
    before = [run(kind, rng, f"old {number}") for number in range(old)]
    return before, [run(other, rng, f"new {number}") for number in range(new)]


def ar1(count: int, memory: float, rng: np.random.Generator) -> np.ndarray:
    """AR(1) with variance 1, begun in its steady state."""
    fresh = rng.standard_normal(count) * (1 - memory**2) ** 0.5
    fresh[0] = rng.standard_normal()
    return lfilter([1.0], [1.0, -memory], fresh)


def _ticks(ns: np.ndarray) -> np.ndarray:
    return (np.rint(ns / US) * US).astype(np.int64)
