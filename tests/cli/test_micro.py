"""`report --json` on small logs whose answers were worked out by hand, twice.

`tests/micro/README.md` says how they were made. A key that is absent there is not asserted.
"""

import json
from pathlib import Path

import jsonschema
import pytest

from tests.cli.test_report import SCHEMA
from tracelens.cli.main import main

MICRO = Path(__file__).parents[1] / "micro"
NAMES = [file.stem for file in sorted(MICRO.glob("*.csv"))]


def entries(ledger):
    return sorted((e["entry"], e["by"] or "", e["via"] or "", e["us"]) for e in ledger)


@pytest.mark.parametrize("name", NAMES)
def test_the_report_has_the_hand_worked_answers(name, capsys):
    expected = json.loads((MICRO / f"{name}.expect.json").read_text(encoding="utf-8"))
    assert main(["report", str(MICRO / f"{name}.csv"), "--json", "-"]) == 0
    found = json.loads(capsys.readouterr().out)
    jsonschema.validate(found, SCHEMA)
    for key, value in expected.get("log", {}).items():
        assert found["log"][key] == pytest.approx(value, abs=1e-6), key
    cores = {core["id"]: core for core in found["cores"]}
    for core in expected.get("cores", []):
        for key, value in core.items():
            assert cores[core["id"]][key] == pytest.approx(value, abs=1e-5), (core["id"], key)
    tasks = {task["name"]: task for task in found["tasks"]}
    for task, wanted in expected.get("tasks", {}).items():
        for key, value in wanted.items():
            got = tasks[task][key]["total"] if key == "execution_us" else tasks[task][key]
            assert got == pytest.approx(value), (task, key)
    if "misses" in expected:
        check_misses(found["misses"], expected["misses"])
    if "inversions" in expected:
        check_inversions(found["inversions"], expected["inversions"])


def check_misses(found, expected):
    assert len(found) == len(expected)
    for miss, wanted in zip(found, expected, strict=True):
        for key in wanted.keys() - {"ledger"}:
            assert miss[key] == wanted[key], (wanted["task"], key)
        if "ledger" in wanted:
            assert entries(miss["ledger"]) == entries(wanted["ledger"]), wanted["task"]


def check_inversions(found, expected):
    assert len(found) == len(expected)
    for inversion, wanted in zip(found, expected, strict=True):
        assert {key: inversion[key] for key in wanted} == wanted
