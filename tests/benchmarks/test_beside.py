"""The report's numbers against three ways to get them without this package, on one log.

pandas and DuckDB are general-purpose libraries; the loop has nothing but the csv module.
"""

from pathlib import Path

import pytest

from tests.benchmarks.beside import with_csv, with_duckdb, with_pandas, with_tracelens
from tests.benchmarks.large_log import write_large_log


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("beside") / "log.csv"
    write_large_log(path, 20_000)
    return path


@pytest.mark.parametrize("way", [with_csv, with_duckdb, with_pandas], ids=lambda way: way.__name__)
def test_busy_times_and_responses_are_what_others_find(way: object, log: Path) -> None:
    expected = with_tracelens.answers(log)
    found = way.answers(log)
    assert {who: int(ns) for who, ns in found["busy"].items()} == expected["busy"]
    assert {task: list(row) for task, row in found["responses"].items()} == {
        task: list(row) for task, row in expected["responses"].items()
    }
    assert len(expected["busy"]) == 14
    assert len(expected["responses"]) == 12
