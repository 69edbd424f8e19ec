"""The house rules catch what they are there to catch, and the package keeps them."""

import ast
import importlib.util
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

_spec = importlib.util.spec_from_file_location("check_layers", ROOT / ".ci" / "check_layers.py")
rules = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(rules)


def test_the_package_keeps_the_house_rules(capsys):
    assert rules.main() == 0, capsys.readouterr().out


@pytest.mark.parametrize(
    ("module", "code", "breach"),
    [
        ("model.events", "from tracelens.report import text", "model imports report"),
        ("log.lines", "from tracelens.formats import toml", "log imports formats"),
        ("report.text", "import tracelens", "imports the facade"),
        ("report.text", "from tracelens import read", "imports the facade"),
        ("nobody.knows", "", "has no rank"),
    ],
)
def test_an_import_against_the_ranks_is_found(module, code, breach):
    found = list(rules.check_imports(module, Path("x.py"), ast.parse(code)))
    assert [breach in line for line in found] == [True]


@pytest.mark.parametrize(
    ("module", "code"),
    [
        ("report.text", "from tracelens.model import tables\nfrom tracelens.report import rows"),
        ("__init__", "from tracelens.cli import main"),
        ("model.events", "import polars as pl"),
    ],
)
def test_an_import_downwards_is_fine(module, code):
    assert list(rules.check_imports(module, Path("x.py"), ast.parse(code))) == []


def test_a_cycle_is_found():
    trees = {
        "log.a": (Path("a.py"), ast.parse("from tracelens.log.b import f")),
        "log.b": (Path("b.py"), ast.parse("from tracelens.log import a")),
    }
    assert [line for line in rules.check_cycles(trees) if "import cycle" in line]


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("for row in frame.iter_rows():", 1),
        ("for row in frame.rows(named=True):", 1),
        ("frame.map_elements(f)", 1),
        ("for row in frame.iter_rows():  # one pass: the nesting of handlers is a stack", 0),
        ("for row in frame.iter_rows():  # few rows: one a core", 0),
        ("for row in frame.iter_rows():  # one pass:", 1),
        ("for name in frame['name'].to_list():", 0),
    ],
)
def test_a_walk_over_rows_is_found_unless_it_says_why(line, found):
    assert len(list(rules.check_text(Path("x.py"), line))) == found


def test_a_long_module_is_found():
    assert len(list(rules.check_text(Path("x.py"), "x = 1\n" * 401))) == 1
