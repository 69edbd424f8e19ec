"""Hold a run against a budgets file."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

from tracelens.errors import UsageError
from tracelens.formats.system_toml import read_system
from tracelens.formats.toml_schema import SystemFile
from tracelens.model.results import Timeline
from tracelens.model.verdicts import Verdicts
from tracelens.reading import overridden
from tracelens.verdicts.judge import judge


def read_budgets(path: str | Path) -> SystemFile:
    """A file that sets limits. Raises `SystemFileError`, and `UsageError` if it sets none."""
    file = read_system(path)
    if not file.budgets.limits:
        raise UsageError("no limit is set: found none under [budgets]", place=str(path))
    return file


def judge_by(
    run: Timeline,
    budgets: SystemFile | str | Path,
    today: date | None = None,
    *,
    window: tuple[int, int] | None = None,
    phase: str | None = None,
    say: Callable[[str], None] = lambda _what: None,
) -> Verdicts:
    """`judge` by a file; what else the file declares overrides what holds for the run.

    Waivers are held against `today`, by default the day in UTC. Raises what `read_budgets` and
    `judge` raise.
    """
    file = budgets if isinstance(budgets, SystemFile) else read_budgets(budgets)
    day = datetime.now(UTC).date() if today is None else today
    under = overridden(run, file)
    return judge(under, file.budgets, day, window=window, phase=phase, say=say)
