"""The walk of DEVELOPERS.md from a number on the page to its formula leads there."""

import ast
import re
from itertools import pairwise
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
STEP = re.compile(r"^\d\. `([a-z_/]+\.py)`, `([a-z_]+)`: ", re.MULTILINE)


def steps() -> list[tuple[str, str]]:
    """(file, function) of each step."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = text.partition("## Where is this number made?")[2].partition("\n## ")[0]
    return STEP.findall(section)


def code_of(file: str, function: str) -> str:
    """The code of a function without its docstring, which may name anything."""
    tree = ast.parse((ROOT / "tracelens" / file).read_text(encoding="utf-8"))
    (found,) = (
        node for node in tree.body if isinstance(node, ast.FunctionDef) and node.name == function
    )
    if ast.get_docstring(found) is not None:
        del found.body[0]
    return ast.unparse(found)


def test_the_walk_is_short_and_begins_at_the_page():
    walk = steps()
    assert 2 <= len(walk) <= 6
    assert walk[0][0].startswith("web/panels/")
    first = code_of(*walk[0])
    assert "run.analysis.tasks" in first
    assert "statistic" in first


@pytest.mark.parametrize(("step", "then"), list(pairwise(steps()[1:])), ids=lambda step: step[1])
def test_each_step_names_the_next(step, then):
    assert re.search(rf"\b{then[1]}\(|\({then[1]},", code_of(*step)), f"{step} → {then}"


def test_the_last_step_is_the_formula():
    assert '.quantile(percent / 100, "equiprobable")' in code_of(*steps()[-1]).replace("'", '"')
