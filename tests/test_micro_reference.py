"""The reference reading against logs that were worked by hand, on every key that they assert."""

import json
from pathlib import Path
from typing import Any

import pytest

from tests.reference import analyse_file

MICRO = Path(__file__).parent / "micro"
LOGS = sorted(path.name.removesuffix(".csv") for path in MICRO.glob("*.csv"))


def read(name: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """What the reference makes of a log, and what the hand working says."""
    expected = json.loads((MICRO / f"{name}.expect.json").read_text(encoding="utf-8"))
    return analyse_file(MICRO / f"{name}.csv").document, expected


def ledger(rows: list[dict[str, Any]]) -> dict[tuple[str, str | None, str | None], float]:
    summed: dict[tuple[str, str | None, str | None], float] = {}
    for row in rows:
        key = (row["entry"], row["by"], row["via"])
        summed[key] = summed.get(key, 0) + row["us"]
    return summed


def test_there_are_logs() -> None:
    assert len(LOGS) == 24


@pytest.mark.parametrize("name", LOGS)
def test_misses_and_their_ledgers(name: str) -> None:
    document, expected = read(name)
    got = [
        (miss["task"], miss["release_us"], miss["response_us"], ledger(miss["ledger"]))
        for miss in document["misses"]
    ]
    assert got == [
        (miss["task"], miss["release_us"], miss["response_us"], ledger(miss["ledger"]))
        for miss in expected["misses"]
    ]
    for miss in document["misses"]:
        assert sum(ledger(miss["ledger"]).values()) == miss["response_us"]


@pytest.mark.parametrize("name", LOGS)
def test_inversions(name: str) -> None:
    document, expected = read(name)
    got, wanted = document["inversions"], expected["inversions"]
    assert len(got) == len(wanted)
    for one, want in zip(got, wanted, strict=True):
        assert {key: one[key] for key in want} == want


@pytest.mark.parametrize("name", LOGS)
def test_cores_tasks_and_log(name: str) -> None:
    document, expected = read(name)
    cores = {core["id"]: core for core in document["cores"]}
    for core in expected["cores"]:
        for key, value in core.items():  # shares are given to six decimals
            assert cores[core["id"]][key] == pytest.approx(value, abs=5e-7), key
    tasks = {task["name"]: task for task in document["tasks"]}
    for task, asserted in expected["tasks"].items():
        for key, value in asserted.items():
            got = tasks[task][key]
            assert (got["total"] if key == "execution_us" else got) == value, (task, key)
    for key, value in expected.get("log", {}).items():
        assert document["log"][key] == pytest.approx(value, abs=5e-7), key
