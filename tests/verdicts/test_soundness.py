"""Whatever was lost, a verdict that is given on what is left is that of the whole log.

The engine makes a log, a bad recorder loses part of it and says how much. Limits lie just below,
at and just above what the whole log shows.
"""

from collections import Counter
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from tracelens.engine import simulate
from tracelens.engine.damage import Damage, damage
from tracelens.formats.taskset_toml import read_taskset
from tracelens.log import read_bytes
from tracelens.model.budgets import Budget
from tracelens.model.results import Timeline
from tracelens.reconstruct import reconstruct
from tracelens.verdicts import judge, suggest

FOLDER = Path(__file__).parents[2] / "sample_traces"
MARGINS = (-0.02, 0.0, 0.02, 0.3)


def run(log: bytes) -> Timeline:
    read = read_bytes(log, "run.csv")
    return reconstruct(read, read.declared)


def moved(budget: Budget, margin: float) -> Budget:
    factor = 1 / (1 + margin) if budget.measure.least else 1 + margin
    return replace(budget, limit=budget.limit * factor)


def pairs(name: str, seed: int, how: Damage) -> Counter[tuple[str, str]]:
    """(verdict on the whole log, verdict on what is left) → how often."""
    done = simulate(read_taskset(FOLDER / f"knitting_{name}.toml"), seed=seed)
    whole, left = run(done.log), run(damage(done.log, how, seed).log)
    made = suggest([whole], 0.0).budgets
    limits = [b for b in made.limits if b.group != "log"]
    found: Counter[tuple[str, str]] = Counter()
    for margin in MARGINS:
        asked = replace(made, limits=tuple(moved(budget, margin) for budget in limits))
        judged = [judge(one, asked, date(2026, 1, 1)).verdicts for one in (whole, left)]
        found.update((a.outcome, b.outcome) for a, b in zip(*judged, strict=True))
    return found


def contradictions(found: Counter[tuple[str, str]]) -> Counter[tuple[str, str]]:
    return Counter(
        {pair: n for pair, n in found.items() if pair[1] != "unknown" and pair[0] != pair[1]}
    )


def test_no_verdict_on_what_is_left_is_another():
    found = pairs("inversion", 1, Damage(loss=0.005, burst=6))
    assert not contradictions(found)
    assert found["pass", "pass"] and found["fail", "fail"] and found["pass", "unknown"]


@pytest.mark.night
@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("how", [Damage(loss=0.005, burst=6), Damage(loss=0.03, burst=25)])
@pytest.mark.parametrize("name", ["healthy", "inversion", "overloaded", "two_cores", "full_queue"])
def test_no_verdict_on_what_is_left_is_another_in_many_runs(name, how, seed):
    assert not contradictions(pairs(name, seed, how))
