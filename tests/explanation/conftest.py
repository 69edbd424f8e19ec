"""Logs that tests write out, told."""

from collections.abc import Callable
from pathlib import Path

import pytest

from tracelens.explanation import Explanation, explain, find_job
from tracelens.reading import read


@pytest.fixture
def tell(tmp_path: Path) -> Callable[..., Explanation]:
    """`tell(log, task=..., number=...)` explains a job of a log given as text."""

    def of(log: str, **which: object) -> Explanation:
        file = tmp_path / "run.csv"
        file.write_text(log, encoding="utf-8")
        run = read(file)
        return explain(run, find_job(run, **which))

    return of
