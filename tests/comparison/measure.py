"""Compare many groups of runs, drawn at random or simulated, and count what is said of them."""

import random
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from tests.comparison.drawn import BASE, Kind, pair
from tests.comparison.simulated import TASK, written_out
from tracelens.analysis import analyse
from tracelens.comparison.compare import compare
from tracelens.comparison.observed import Observed, observe
from tracelens.comparison.records import Comparison
from tracelens.engine import simulate
from tracelens.formats.taskset_toml import read_taskset
from tracelens.reading import read

ROOT = Path(__file__).resolve().parents[2]
SETS = ("knitting_healthy", "knitting_two_cores")
SIZES = ((1, 1), (2, 2), (3, 3), (4, 4), (5, 5), (3, 7), (1, 24))
SIMULATED_SIZES = ((1, 1), (3, 3), (5, 5))
DETECTABLE = (
    (1, 0.0, 2),
    (3, 0.004, 2),
    (4, 0.004, 2),
    (5, 0.004, 2),
    (5, 0.004, 7),
    (8, 0.004, 2),
)
JOBS_500 = 1_000_000_000  # of the task that is slower
BOARDS = 0.005


def drawn_alarms(pairs: int, size: tuple[int, int]) -> list[int]:
    """Seeds of pairs of equal groups of which anything is said to have moved.

    Memory of the jobs and spread of the boards vary from pair to pair; with one run a side boards
    do not differ, for that case says that it does not know how runs differ.
    """
    found = []
    for seed in range(pairs):
        kind = Kind(
            jobs=(100, 500)[seed % 2],
            memory=(0.0, 0.3, 0.5, 0.8)[seed // 2 % 4],
            boards=0.0 if sum(size) == 2 else (0.0, 0.005, 0.01, 0.03)[seed // 8 % 4],
        )
        if _alarms(compare(*pair(kind, kind, *size, seed))):
            found.append(seed)
    return found


def drawn_found(pairs: int, boards: float, slower: float = 1.05) -> int:
    """In how many pairs, five runs a side of 500 jobs with a spread of 10 %, it is found."""
    kind = Kind(jobs=500, memory=0.5, boards=boards)
    other = Kind(jobs=500, memory=0.5, boards=boards, slower=slower)
    return sum(_names(compare(*pair(kind, other, 5, 5, seed)), "t0") for seed in range(pairs))


def detectable_found(runs: int, boards: float, tasks: int, pairs: int) -> int:
    """In how many pairs a task is found that is slower by what equal groups call detectable.

    The median of what half as many equal groups call so; with one run a side boards do not differ.
    """
    kind = Kind(jobs=200, tasks=tasks, memory=0.3, boards=boards if runs > 1 else 0.0)
    called = [
        float(_of_t0(compare(*pair(kind, kind, runs, runs, seed)))["detectable"])
        for seed in range(pairs // 2)
    ]
    other = replace(kind, slower=1 + float(np.median(called)) / BASE)
    return sum(
        bool(_of_t0(compare(*pair(kind, other, runs, runs, pairs + seed)))["moved"])
        for seed in range(pairs)
    )


def pool(
    name: str, runs: int, folder: Path, slower: float = 1.0, until_ns: int | None = None
) -> list[Observed]:
    """Simulated runs, each of a board of its own, with jobs that depend on earlier ones."""
    made = []
    taskset = read_taskset(ROOT / "sample_traces" / f"{name}.toml")
    for seed in range(runs):
        rng = np.random.default_rng([seed, round(slower * 1000)])
        log = folder / "run.csv"
        done = simulate(written_out(taskset, rng, BOARDS, slower, until_ns), seed=seed)
        log.write_bytes(done.log)
        made.append(observe(analyse(read(log)), f"{name} {seed} {slower}"))
    return made


def alarms_in(runs: list[Observed], pairs: int, size: tuple[int, int]) -> list[int]:
    """The same for groups drawn from a pool, without putting back within a pair."""
    found = []
    for seed in range(pairs):
        drawn = random.Random(seed).sample(runs, sum(size))
        if _alarms(compare(drawn[: size[0]], drawn[size[0] :])):
            found.append(seed)
    return found


def found_in(old: list[Observed], new: list[Observed], pairs: int) -> int:
    """In how many groups of five from each pool the slower task is found."""
    found = 0
    for seed in range(pairs):
        rng = random.Random(seed)
        found += _names(compare(rng.sample(old, 5), rng.sample(new, 5)), TASK)
    return found


def _alarms(found: Comparison) -> bool:
    return not found.moved.is_empty()


def _of_t0(found: Comparison) -> dict[str, Any]:
    rows = found.comparisons
    return rows.filter((rows["subject"] == "t0") & (rows["quantity"] == "execution")).to_dicts()[0]


def _names(found: Comparison, task: str) -> bool:
    """The task's execution is said to have moved."""
    moved = found.moved
    return ("execution", task) in set(zip(moved["quantity"], moved["subject"], strict=True))
