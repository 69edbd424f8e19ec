"""Assertions on what a run measured, for tests of firmware.

    from tracelens.testing import assert_meets, measure

    run = measure("run.csv")
    assert run.task("needle_select").response.max_us < 1800
    assert_meets(run, "budgets.toml")

The names are those of budgets files, with a dot or without one: `response.max_us` and
`response_max_us` are the same. Values are in the unit of the name.
"""

import difflib
import io
from collections.abc import Sequence
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Final, Self, cast

from tracelens.analysis import analyse
from tracelens.errors import UsageError
from tracelens.formats.budgets_text import number_text
from tracelens.model.budgets import MEASURES, THING, Budget, Budgets
from tracelens.model.results import Analysis, Timeline
from tracelens.plain import plain
from tracelens.reading import read
from tracelens.report import text
from tracelens.report.document import document
from tracelens.report.verdict_words import entry, sentence, where
from tracelens.report.verdicts import worst_first
from tracelens.units import NS_PER_US, us_to_ns
from tracelens.verdicts import judge_by
from tracelens.verdicts.judge import names_of
from tracelens.verdicts.observation import Observation, so_many
from tracelens.verdicts.observers import observe
from tracelens.verdicts.view import View

__all__ = ["Measured", "MeasuredRun", "Thing", "assert_meets", "measure"]

REPORT_WIDTH: Final = 100


def measure(
    logs: str | Path | Sequence[str | Path], system: str | Path | None = None
) -> "MeasuredRun":
    """Read a log, or the parts of one in order. Raises what `tracelens.read` raises."""
    return MeasuredRun(read(logs, system))


def assert_meets(run: "MeasuredRun", budgets: str | Path, *, today: date | None = None) -> None:
    """Fail, with every limit that is not met, unless the run meets a budgets file.

    What else the file declares overrides the log. A limit that the log leaves open fails too.
    Waivers are held against `today`, by default the day (UTC). Raises `AssertionError`, or
    `SystemFileError` for a mistake in the file.
    """
    __tracebackhide__ = True
    judged = judge_by(run.timeline, budgets, today, window=run.window, phase=run.phase)
    if judged.outcome != "pass":
        lines = [sentence(one, judged.today) for one in worst_first(judged) if one.counts]
        count = f"{len(lines)} of {len(judged.verdicts)} limits of {budgets} are not met"
        raise AssertionError(plain_lines([f"{count}:", *lines]))


def plain_lines(lines: Sequence[str]) -> str:
    """Lines for a terminal: names of the log cannot act on it."""
    return "\n".join(map(plain, lines))


class MeasuredRun:
    """A run with its measures by name, over all of it or over a part."""

    def __init__(
        self,
        timeline: Timeline,
        *,
        window: tuple[int, int] | None = None,
        phase: str | None = None,
    ) -> None:
        self.timeline = timeline
        self.window = window
        self.phase = phase

    def during(self, phase: str) -> "MeasuredRun":
        """The same run over all occurrences of a phase that the application marks."""
        return MeasuredRun(self.timeline, window=self.window, phase=phase)

    def between(self, start_us: float, end_us: float) -> "MeasuredRun":
        """The same run over [start_us, end_us), µs from the first event."""
        window = (us_to_ns(start_us), us_to_ns(end_us))
        return MeasuredRun(self.timeline, window=window, phase=self.phase)

    @cached_property
    def analysis(self) -> Analysis:
        """Every measure and finding, as `tracelens.analyse` gives them."""
        return analyse(self.timeline, window=self.window, phase=self.phase)

    @cached_property
    def view(self) -> View:
        """The analysis as the verdicts see it."""
        return View(self.analysis, self.timeline, Budgets().tolerated_loss)

    @cached_property
    def names(self) -> dict[str, list[str]]:
        """Group of things → the names that the log has."""
        marked = self.analysis.phases["phase"].unique(maintain_order=True).to_list()
        return names_of(self.analysis, marked)

    def task(self, name: str) -> "Thing":
        """A task. Raises `UsageError` for a name that the log does not have; so do the others."""
        return Thing(self, "tasks", name)

    def core(self, name: str | int) -> "Thing":
        """A core, by its name, or by its number if it has none."""
        return Thing(self, "cores", str(name))

    def isr(self, name: str) -> "Thing":
        """An interrupt handler."""
        return Thing(self, "isrs", name)

    def lock(self, name: str) -> "Thing":
        """A lock."""
        return Thing(self, "locks", name)

    def queue(self, name: str) -> "Thing":
        """A queue."""
        return Thing(self, "queues", name)

    def chain(self, name: str) -> "Thing":
        """A declared chain of causes."""
        return Thing(self, "chains", name)

    def marked_phase(self, name: str) -> "Thing":
        """A phase itself: how long it lasts, how often it occurs."""
        return Thing(self, "phases", name)

    @property
    def log(self) -> "Thing":
        """The log itself: how far it can be trusted."""
        return Thing(self, "log", "log")

    def report(self) -> str:
        """The whole reading as text, as `tracelens report` prints it."""
        page = io.StringIO()
        text.show(document(self.analysis), page, width=REPORT_WIDTH)
        return page.getvalue()

    def __repr__(self) -> str:
        return f"<run {', '.join(self.timeline.log.sources)}>"


class Thing:
    """One task, core, lock, … of a run. Its attributes are the measures of its group."""

    def __init__(self, run: MeasuredRun, group: str, name: str) -> None:
        if group != "log" and name not in run.names[group]:
            near = difflib.get_close_matches(name, run.names[group], 1)
            raise UsageError(
                f"no such {THING[group]}: found {name!r}, expected one of the log's",
                hint=f"did you mean {near[0]}?"
                if near
                else f"the log has {', '.join(run.names[group]) or 'none'}",
            )
        self._run = run
        self._group = group
        self._name = name

    def __getattr__(self, name: str) -> "Measured":
        if name.startswith("_"):
            raise AttributeError(name)
        return cast("Measured", _Part(self._run, self._group, self._name, "").__getattr__(name))

    def __dir__(self) -> list[str]:
        return [*super().__dir__(), *MEASURES[self._group]]

    def __repr__(self) -> str:
        return f"<{THING[self._group]} {self._name}>"


class _Part:
    """The measures of a thing whose names begin alike."""

    def __init__(self, run: MeasuredRun, group: str, name: str, begin: str) -> None:
        self._run = run
        self._group = group
        self._name = name
        self._begin = begin

    def __getattr__(self, name: str) -> "Measured | _Part":
        if name.startswith("_"):
            raise AttributeError(name)
        known = MEASURES[self._group]
        wanted = f"{self._begin}{name}"
        if wanted in known:
            return _measured(self._run, Budget(self._group, self._name, known[wanted], 0.0))
        begin = f"{wanted}_"
        if any(key.startswith(begin) for key in known):
            return _Part(self._run, self._group, self._name, begin)
        near = difflib.get_close_matches(wanted, known, 1)
        raise AttributeError(
            f"{wanted} is no measure of a {THING[self._group]}"
            + (f": did you mean {near[0]}?" if near else "")
        )

    def __repr__(self) -> str:
        return f"<{self._begin}… of {self._name}>"


class Measured(float):
    """A measured value, in the unit of its name, that can say where it comes from.

    A comparison is true only if it is so whatever the unknown part of the log holds.
    """

    budget: Budget
    run: MeasuredRun
    observed: Observation

    if TYPE_CHECKING:
        # In `response.max_us` every step is a measure to a type checker, for what it is turns on
        # the whole name.
        def __getattr__(self, name: str) -> "Measured": ...

    def __new__(cls, value: float, run: MeasuredRun, budget: Budget, observed: Observation) -> Self:
        """The value itself; what it rests on goes with it."""
        made = super().__new__(cls, value)
        made.run, made.budget, made.observed = run, budget, observed
        return made

    @property
    def _low(self) -> float:
        return _in_unit(self.budget, self.observed.low)

    @property
    def _high(self) -> float:
        return _in_unit(self.budget, self.observed.high)

    def __lt__(self, other: float) -> bool:
        return self._high < other

    def __le__(self, other: float) -> bool:
        return self._high <= other

    def __gt__(self, other: float) -> bool:
        return self._low > other

    def __ge__(self, other: float) -> bool:
        return self._low >= other

    def __eq__(self, other: object) -> bool:
        return self._low == self._high and float(self) == other

    def __ne__(self, other: object) -> bool:
        return not self == other

    def __hash__(self) -> int:
        return hash(float(self))

    def explain(self, op: str, other: object) -> list[str]:
        """Why the comparison does not hold: value and limit, the worst place, where time went."""
        found = number_text(self.budget.measure, self.observed.value or 0)
        lines = [f"{self.budget.name} {self.budget.measure.key}: {found} {op} {other}"]
        if self._low != self._high:
            lines.append(f"not known for certain: {self.observed.why}")
        if self.observed.count is not None:
            lines.append(f"of {so_many(self.observed.count, self.observed.counted)}")
        spot = self.observed.spot()
        if spot is not None:
            lines.append(where(spot))
            lines += [f"  {entry(one)}" for one in spot.ledger]
        return [plain(line) for line in lines]


def _measured(run: MeasuredRun, budget: Budget) -> Measured:
    observed = observe(run.view, budget.name, budget)
    if observed.value is None:
        raise AssertionError(
            plain(f"{budget.name} {budget.measure.key} was not measured: {observed.why}")
        )
    return Measured(_in_unit(budget, observed.value), run, budget, observed)


def _in_unit(budget: Budget, value: float) -> float:
    return value / NS_PER_US if budget.measure.unit == "us" else value
