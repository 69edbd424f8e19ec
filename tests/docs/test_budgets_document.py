"""The page on budgets says what the code knows, no more and no less; its examples are accepted."""

import re
from datetime import date
from pathlib import Path

import pytest

from tracelens.formats.budget_values import SHARED
from tracelens.formats.budgets_toml import TOP
from tracelens.formats.toml_schema import parse_toml, read_toml
from tracelens.model.budgets import MEASURES, SEVERITIES
from tracelens.reading import read
from tracelens.verdicts import judge

FOLDER = Path(__file__).parents[2] / "sample_traces"
PAGE = (FOLDER / "BUDGETS.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"^```toml\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)
UNITS = {"us": "µs", "share": "share", "count": "count", "bytes": "bytes", "per_s": "1/s"}
SAMPLE = FOLDER / "knitting_budgets.toml"


def section(title: str) -> str:
    rank = title.split(" ")[0]
    after = PAGE.split(f"\n{title}\n")[1]
    return re.split(rf"\n#{{1,{len(rank)}}} ", after)[0]


def heading(group: str) -> str:
    return f"### `[budgets.{group}]`" if group == "log" else f"### `[budgets.{group}.NAME]`"


def rows(text: str) -> list[list[str]]:
    lines = [line for line in text.splitlines() if line.startswith("| `")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


@pytest.mark.parametrize("group", MEASURES)
def test_every_key_is_documented_with_its_unit_and_meaning(group):
    known = [[f"`{m.key}`", UNITS[m.unit], m.means] for m in MEASURES[group].values()]
    assert rows(section(heading(group))) == known


def test_every_group_is_documented():
    headings = re.findall(r"^### (.*)$", section("## What can be limited"), re.MULTILINE)
    assert headings == [heading(group).removeprefix("### ") for group in MEASURES]


def test_every_documented_key_is_accepted():
    for group in MEASURES:
        path = "budgets.log" if group == "log" else f"budgets.{group}.x"
        for key, _, _ in rows(section(heading(group))):
            (budget,) = parse_toml(f"[{path}]\n{key.strip('`')} = 1", "x").budgets.limits
            assert f"`{budget.measure.key}`" == key


def test_the_keys_that_all_tables_share_are_documented():
    text = section("## Severity, reason, waiver")
    assert [row[0].strip("`") for row in rows(text)] == list(SHARED)
    assert re.findall(r"`(\w+)`", rows(text)[0][1])[: len(SEVERITIES)] == list(SEVERITIES)


def test_the_keys_of_budgets_are_documented():
    found = re.findall(r"\[budgets\.(\w+)|`\[budgets\]` `(\w+)`", PAGE)
    assert {first or second for first, second in found} == set(TOP)


@pytest.mark.parametrize("example", EXAMPLES, ids=range(len(EXAMPLES)))
def test_every_example_is_accepted(example):
    assert parse_toml(example, "example.toml").budgets != parse_toml("", "x").budgets


def test_the_rule_of_names_is_as_the_page_says():
    text = next(example for example in EXAMPLES if '"needle_*"' in example)
    judged = judge(
        read(FOLDER / "knitting_healthy.csv"), parse_toml(text, "x").budgets, date(2026, 1, 1)
    )
    loads = {v.name: v.budget.limit for v in judged.verdicts if v.budget.measure.unit == "share"}
    assert (loads["archive"], loads["needle_select"], loads["panel"]) == (0.1, 0.3, 0.2)
    assert sum(v.budget.measure.key == "misses" for v in judged.verdicts) == 7


@pytest.mark.parametrize(
    ("log", "outcome"),
    [("healthy", "pass"), ("mended", "pass"), ("inversion", "fail"), ("bad_capture", "fail")],
)
def test_the_sample_file_tells_the_good_runs_from_the_bad(log, outcome):
    run = read(FOLDER / f"knitting_{log}.csv", SAMPLE)
    assert judge(run, read_toml(SAMPLE).budgets, date(2026, 1, 1)).outcome == outcome
