"""[budgets] of a TOML file → `model.budgets.Budgets`, or one line that says what is wrong.

[budgets]                            tolerated_loss
[budgets.GROUP.NAME]                 limits of one thing, or of all that a glob meets
[budgets.log]                        limits of the log itself
[budgets.phases.PHASE]               limits of a phase's own length
[budgets.phases.PHASE.GROUP.NAME]    limits over a phase
[budgets.findings]                   numbers in place of the thresholds of the findings
"""

from collections.abc import Mapping, Sequence
from typing import Any, Final, NoReturn

from tracelens.errors import SystemFileError
from tracelens.formats import budget_values
from tracelens.formats.budget_values import NO_KEY, MistakeError, no_key
from tracelens.formats.budgets_text import number_text
from tracelens.formats.toml_lines import lines_of
from tracelens.model.budgets import MEASURES, Budget, Budgets, dotted

Path = tuple[str, ...]

THINGS: Final = tuple(group for group in MEASURES if group not in ("log", "phases"))
TOP: Final = (*THINGS, "log", "phases", "findings", "tolerated_loss")
"""The keys of [budgets]."""
IN_PHASE: Final = (*MEASURES["phases"], *budget_values.SHARED, *THINGS)
"""The keys of [budgets.phases.NAME]."""


def parse(raw: object, text: str, place: str) -> Budgets:
    """The budgets that stand under the key `budgets`; `text` is the whole file, to find lines in.

    Raises `SystemFileError`, `place:line: key: found …, expected …`.
    """
    return _Reading(text, place).budgets(raw)


class _Reading:
    """One file while it is read."""

    def __init__(self, text: str, place: str) -> None:
        self._text = text
        self._place = place
        self._lines: dict[Path, int] | None = None

    def budgets(self, raw: object) -> Budgets:
        tables = self._table(raw, ("budgets",))
        limits: list[Budget] = []
        for key, value in tables.items():
            path = ("budgets", key)
            if key not in TOP:
                self._unknown(path, TOP)
            if key in THINGS:
                limits += self._things(key, value, path, None)
            elif key == "log":
                limits += self._limits("log", "", value, path, None)
            elif key == "phases":
                for phase, of_phase in self._table(value, path).items():
                    limits += self._phase(phase, of_phase, (*path, phase))
        return Budgets(
            limits=tuple(limits),
            tolerated_loss=self._tolerated(tables.get("tolerated_loss", 0)),
            thresholds=self._thresholds(tables.get("findings", {})),
            place=self._place,
        )

    def _phase(self, phase: str, value: object, path: Path) -> list[Budget]:
        table = self._table(value, path)
        for key in table:
            if key == "log":
                self._fail((*path, key), "the log is judged as a whole: found it in a phase")
            if key not in IN_PHASE:
                self._unknown_measure((*path, key), table[key], "phases", IN_PHASE)
        found = [
            budget
            for group in THINGS
            if group in table
            for budget in self._things(group, table[group], (*path, group), phase)
        ]
        own = {key: value for key, value in table.items() if key not in THINGS}
        if own or not found:
            found += self._limits("phases", phase, own, path, None)
        return found

    def _things(self, group: str, value: object, path: Path, phase: str | None) -> list[Budget]:
        return [
            budget
            for name, limits in self._table(value, path).items()
            for budget in self._limits(group, name, limits, (*path, name), phase)
        ]

    def _limits(
        self, group: str, name: str, value: object, path: Path, phase: str | None
    ) -> list[Budget]:
        table = self._table(value, path)
        known = MEASURES[group]
        for key in table:
            if key not in known and key not in budget_values.SHARED:
                self._unknown_measure(
                    (*path, key), table[key], group, (*known, *budget_values.SHARED)
                )
        shared = self._read(path, lambda: budget_values.shared(table))
        made = []
        for key in (key for key in table if key in known):
            where = (*path, key)
            read = self._read(where, lambda key=key: budget_values.limit(table[key], known[key]))
            made.append(
                Budget(
                    group=group,
                    name=name,
                    measure=known[key],
                    limit=read.limit,
                    of=read.of,
                    phase=phase,
                    line=self._line(where),
                    **{**shared, **read.shared},
                )
            )
        if not made:
            self._fail(path, f"sets no limit: found none of {', '.join(list(known)[:3])}, …")
        self._agree(made, path)
        return made

    def _agree(self, made: Sequence[Budget], path: Path) -> None:
        """A least value above the greatest one of the same sample is met by nothing."""
        for low in (one for one in made if one.measure.series and one.measure.least):
            for high in made:
                same = high.measure.series == low.measure.series
                if same and not high.measure.least and high.limit < low.limit:
                    least, most = (number_text(one.measure, one.limit) for one in (low, high))
                    self._fail(
                        (*path, low.measure.key),
                        f"nothing can meet both limits: found at least {least}, "
                        f"expected no more than {high.measure.key} = {most}",
                    )

    def _tolerated(self, value: object) -> float:
        path = ("budgets", "tolerated_loss")
        tolerated: float = self._read(path, lambda: budget_values.share(value))
        return tolerated

    def _thresholds(self, value: object) -> dict[str, float]:
        path = ("budgets", "findings")
        table = self._table(value, path)
        return {
            key: self._read((*path, key), lambda number=number: budget_values.number(number))
            for key, number in table.items()
        }

    def _table(self, value: object, path: Path) -> Mapping[str, Any]:
        if not isinstance(value, Mapping):
            self._fail(path, f"found {budget_values.shown(value)}, expected a table")
        return value

    def _read(self, path: Path, read: Any) -> Any:
        try:
            return read()
        except MistakeError as mistake:
            self._fail((*path, *mistake.path), mistake.problem, mistake.hint)

    def _unknown_measure(
        self, path: Path, value: object, group: str, known: Sequence[str]
    ) -> NoReturn:
        """A key that is none, or is one but for its unit."""
        if found := budget_values.other_unit(path[-1], value, MEASURES[group]):
            unit, measure, better = found
            expected = budget_values.UNIT_WORDS[measure.unit]
            self._fail(
                path, f"found a limit in {unit}, expected {expected}: did you mean {better}?"
            )
        self._unknown(path, known)

    def _unknown(self, path: Path, known: Sequence[str]) -> NoReturn:
        mistake = no_key(path[-1], known)
        self._fail(path, mistake.problem, mistake.hint)

    def _fail(self, path: Path, problem: str, hint: str | None = None) -> NoReturn:
        between = " " if problem.startswith(NO_KEY) else ": "
        raise SystemFileError(f"{dotted(path)}{between}{problem}", place=self._at(path), hint=hint)

    def _at(self, path: Path) -> str:
        line = self._line(path)
        return self._place if line is None else f"{self._place}:{line}"

    def _line(self, path: Path) -> int | None:
        """The line of the key, or of the nearest table around it."""
        if self._lines is None:
            self._lines = lines_of(self._text)
        return next(
            (self._lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in self._lines),
            None,
        )
