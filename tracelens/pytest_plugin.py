"""pytest plugin: read the log that a test produced, and say more when the test fails.

A test asks for `tracelens_read`, a function from a log's path to a `tracelens.testing.MeasuredRun`.
If the test fails, the report on each log that it read is printed with the failure and written
beside it, into the test's `tmp_path`.

Nothing heavy is imported until a test reads a log: pytest loads this module in every run.
"""

from collections.abc import Callable, Generator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from tracelens.testing import MeasuredRun

_RUNS = pytest.StashKey[list[tuple["MeasuredRun", Path]]]()


@pytest.fixture
def tracelens_read(request: pytest.FixtureRequest, tmp_path: Path) -> "Callable[..., MeasuredRun]":
    """`tracelens_read(log, system=None)` reads a log, or the parts of one in order."""
    runs: list[tuple[MeasuredRun, Path]] = request.node.stash.setdefault(_RUNS, [])

    def read(logs: Any, system: str | Path | None = None) -> "MeasuredRun":
        from tracelens.testing import measure

        run = measure(logs, system)
        first = Path(run.timeline.log.sources[0])
        runs.append((run, tmp_path / f"{first.name}-{len(runs) + 1}.report.txt"))
        return run

    return read


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Add the reports on the logs that a failed test read."""
    report = yield
    if call.when == "call" and report.failed:
        for run, file in item.stash.get(_RUNS, []):
            page = run.report()
            file.write_text(page, encoding="utf-8")
            report.sections.append((f"tracelens report, also in {file}", page))
    return report


def pytest_assertrepr_compare(op: str, left: object, right: object) -> list[str] | None:
    """What stands behind a measured value that a comparison did not like."""
    for value, other, how in ((left, right, op), (right, left, _TURNED.get(op, op))):
        if type(value).__module__ == "tracelens.testing" and hasattr(value, "explain"):
            lines: list[str] = value.explain(how, other)
            return lines
    return None


_TURNED = {"<": ">", "<=": ">=", ">": "<", ">=": "<="}
