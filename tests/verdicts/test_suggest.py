"""First budgets pass on the runs that they are made from, with the margin asked for."""

from datetime import date
from pathlib import Path

import pytest

from tests.verdicts.runs import hundred, small
from tracelens.formats.budgets_text import write
from tracelens.formats.toml_schema import parse_toml
from tracelens.reading import read
from tracelens.verdicts import judge, suggest

FOLDER = Path(__file__).parents[2] / "sample_traces"
TODAY = date(2026, 1, 1)


def limits(runs, margin=0.2):
    made = suggest(runs, margin)
    text = write(made.budgets, made.left_out)
    return {(b.name, b.measure.key): b.limit for b in parse_toml(text, "x").budgets.limits}


def passes(run, made) -> bool:
    text = write(made.budgets, made.left_out)
    judged = judge(run, parse_toml(text, "x").budgets, TODAY)
    return all(one.outcome == "pass" for one in judged.verdicts)


@pytest.mark.parametrize(
    ("name", "margin"),
    [("overloaded", 0.2), ("two_cores", 2), ("bad_capture", 0.2), ("asleep", 0)],
)
def test_a_first_file_passes_on_its_own_run(name, margin):
    run = read(FOLDER / f"knitting_{name}.csv")
    made = suggest([run], margin)
    assert made.budgets.limits
    assert passes(run, made)


def test_of_several_runs_the_worst_counts_and_all_pass():
    names = ("healthy", "mended")
    all_runs = [read(FOLDER / f"knitting_{name}.csv") for name in names]
    made = suggest(all_runs, 0.1)
    assert all(passes(run, made) for run in all_runs)
    together = {(b.name, b.measure.key): b.limit for b in made.budgets.limits}
    # The largest responses of needle_select are 826 and 1125 µs.
    assert together["needle_select", "response_max_us"] == 1_240_000


def test_a_limit_is_the_worst_value_and_the_margin():
    found = limits([hundred()])
    assert found["control", "response_max_us"] == 372_000  # 310 and a fifth
    assert found["control", "response_p99_us"] == 371_000  # 309 and a fifth: 370.8, upwards
    assert found["row", "latency_max_us"] == 384_000
    assert found["rows", "most_items_max"] == 2  # 1.2, whole and upwards
    assert found["control", "misses"] == 0


def test_nothing_is_promised_beyond_a_deadline_that_is_kept():
    """`logger` takes 125 µs of 200 at most: with 100 % more 250, but its deadline is 200."""
    assert limits([small()], 1)["logger", "response_max_us"] == 200_000


def test_least_values_are_rounded_down():
    assert limits([small()])["control", "stack_free_min_bytes"] == 320


def test_what_the_run_cannot_tell_is_left_out_with_the_reason():
    made = suggest([small()], 0.2)
    assert made.left_out["tasks", "control"] == [
        "response_p99_us: 6 jobs, too few for the 99th percentile, which takes 100",
        "misses: 1 in a run",
    ]
    assert "# misses: 1 in a run\n" in write(made.budgets, made.left_out)


def test_what_only_some_runs_have_is_left_out():
    other = small(swap={"name=logger": "name=writer"}, more="")
    found = limits([small(), other])
    assert ("control", "response_max_us") in found
    assert not {name for name, _ in found} & {"logger", "writer"}
