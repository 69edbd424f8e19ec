"""Read a log of task switches; learn what was late, and why.

>>> import tracelens as tl
>>> run = tl.read("run.csv")  # doctest: +SKIP
>>> analysis = tl.analyse(run)  # doctest: +SKIP
>>> analysis.tasks.select("task", "deadline_misses", "response_max_ns")  # doctest: +SKIP

`run` is a `Timeline` (what happened), `analysis` an `Analysis` (what it amounts to); both carry
polars tables, whose columns `model.tables` documents. This module is the facade for users: nothing
inside the package imports it, and it imports the heavy parts only when they are asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from tracelens.errors import (
    DamageError,
    InputError,
    LogError,
    SystemFileError,
    TraceLensError,
    UsageError,
)
from tracelens.version import __version__

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date
    from pathlib import Path

    from tracelens.comparison.records import Comparison
    from tracelens.model.results import Analysis, Finding, Timeline
    from tracelens.model.verdicts import Verdicts

__all__ = [
    "Analysis",
    "Comparison",
    "DamageError",
    "Finding",
    "InputError",
    "LogError",
    "SystemFileError",
    "Timeline",
    "TraceLensError",
    "UsageError",
    "Verdicts",
    "__version__",
    "analyse",
    "check",
    "compare",
    "read",
]

if not TYPE_CHECKING:  # a checker knows the types by name, and is not to take any name for one
    _TYPES = {
        "Analysis": "model.results",
        "Comparison": "comparison.records",
        "Finding": "model.results",
        "Timeline": "model.results",
        "Verdicts": "model.verdicts",
    }

    def __getattr__(name):
        if name in _TYPES:
            return getattr(import_module(f"tracelens.{_TYPES[name]}"), name)
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def read(
    logs: str | Path | Sequence[str | Path],
    system: str | Path | None = None,
    *,
    strict: bool = False,
) -> Timeline:
    """Read a log, or the parts of one in order, and reconstruct what happened.

    `system` names a system file (TOML), which overrides what the log declares. Damage is worked
    around and counted; with `strict` the first damaged line is an error.

    Raises `LogError` or `SystemFileError` (unreadable), `DamageError` (nothing usable in it).
    """
    from tracelens.reading import read as read_run

    return read_run(logs, system, strict=strict)


def analyse(
    run: Timeline, window: tuple[int, int] | None = None, phase: str | None = None
) -> Analysis:
    """Take every measure of a run and collect the findings.

    `window` is [start, end) in nanoseconds from the first event; `phase` the name of a phase that
    the application marked. Without either the measures cover the whole run.

    Raises `UsageError` for a window outside the run or a phase that the log does not mark.
    """
    from tracelens.analysis import analyse as analyse_run

    return analyse_run(run, window=window, phase=phase)


def check(
    run: Timeline,
    budgets: str | Path,
    *,
    window: tuple[int, int] | None = None,
    phase: str | None = None,
    today: date | None = None,
) -> Verdicts:
    """Hold a run against a budgets file: `outcome` of the result is pass, fail or unknown.

    `window` and `phase` are those of `analyse`. What else the file declares overrides the log.
    Waivers are held against `today`, by default the day in UTC.

    Raises `SystemFileError` for a mistake in the file, a name in it that the run does not have
    included, and `UsageError` if it sets no limit.
    """
    from tracelens.verdicts import judge_by

    return judge_by(run, budgets, today, window=window, phase=phase)


def compare(
    old: Sequence[Analysis], new: Sequence[Analysis], *, error_rate: float = 0.05
) -> Comparison:
    """Say what moved from the old runs to the new ones, and whether it is beyond noise.

    `error_rate` is the chance that anything is said to have moved if nothing has. What moved is
    the table `moved` of the result, whose columns `model.compared` documents.

    Raises `UsageError` for a side without runs, or sides without a task in common.
    """
    from tracelens.comparison.compare import compare as compare_runs
    from tracelens.comparison.observed import observe

    before = [observe(run, f"old {number}") for number, run in enumerate(old, 1)]
    after = [observe(run, f"new {number}") for number, run in enumerate(new, 1)]
    return compare_runs(before, after, error_rate)
