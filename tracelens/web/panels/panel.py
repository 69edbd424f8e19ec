"""What a panel is: its name, what it follows, and the functions that fill it. No Dash in here."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import polars as pl

from tracelens.drawing.figures import Shown
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.plain import plain
from tracelens.web.panels.grid import Grid

LONGEST_NAME: Final = 60
"""A longer name is cut where it is shown, and numbered where it stands in the address."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What the reader asks of a panel: the visible window [start, end), the job that they chose.

    `of` is the thing that the panel is about (a task, a queue, a core, …; None where there is
    none), `window_ns` the length of the windows that a measure is taken over (None: as drawn).
    """

    start_ns: int
    end_ns: int
    chosen: int | None = None
    of: str | None = None
    window_ns: int | None = None


Names = Callable[[Run], Sequence[str]]


@dataclass(frozen=True, slots=True)
class Panel:
    """One panel: `value` stands in the address, `label` on its tab.

    `follows`: whether it changes with the visible window ('view') and with the chosen job
    ('chosen'). `figure`, `table` and `data` fill it; `data` is what the figure draws, for a CSV
    file. `of` names the things to choose among, called `of_what`; `windows` says that the length
    of the windows can be chosen. `table` depends on nothing
    but the thing. Where x is the time of the run (`over_time`) a point of the figure
    leads there, unless it says itself where it leads. `missing` is the sentence that stands in the
    place of a panel that has nothing to show, and how to get it; '' if it has something.
    """

    value: str
    label: str
    missing: Callable[[Run], str]
    figure: Callable[[Run, Asked, Sheet], Shown] | None = None
    data: Callable[[Run, Asked], pl.DataFrame] | None = None
    table: Callable[[Run, str | None], Grid] | None = None
    of: Names | None = None
    of_what: str = ""
    windows: bool = False
    follows: frozenset[Literal["view", "chosen"]] = frozenset()
    over_time: bool = False

    @property
    def shape(self) -> str:
        """'both' or 'table'."""
        return "both" if self.figure else "table"


def short(name: str) -> str:
    """A name as it is shown in a list: safe, and cut at its end if it is very long."""
    if len(name) <= LONGEST_NAME:
        return plain(name)
    return f"{plain(name[: LONGEST_NAME - 1])}…"


def addressed(names: Sequence[str]) -> dict[str, str]:
    """What stands in the address for each name → the name: itself, or its number if too long."""
    return {name if len(name) <= LONGEST_NAME else f"#{i}": name for i, name in enumerate(names)}
