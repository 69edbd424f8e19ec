"""What stands in the panel: what was asked for, figure and table, and where a click leads.

No callback and no browser: `parts.panel` connects these functions to the page.
"""

from typing import Any, Final
from urllib.parse import parse_qs

from dash import no_update

from tracelens.drawing.intervals import MOST_ROWS
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.numbers import grouped
from tracelens.web import moves, takeaway
from tracelens.web.components import BLANK
from tracelens.web.moves import Chosen, View
from tracelens.web.panels.grid import Order, page
from tracelens.web.panels.panel import LONGEST_NAME, Asked, Panel, addressed, short
from tracelens.web.panels.registry import panel_of
from tracelens.web.table import component as table_component

WINDOWS: Final = {
    "": "as drawn",
    "100us": "100 µs",
    "1ms": "1 ms",
    "10ms": "10 ms",
    "100ms": "100 ms",
    "1s": "1 s",
}
"""Length of windows, as it stands in the address → as it is shown; '' leaves it to the figure."""

SEARCHED: Final = 12
"""A longer list of names can be searched."""


def query(search: str | None) -> dict[str, str]:
    """The keys of the page's address."""
    return {key: values[0] for key, values in parse_qs((search or "").removeprefix("?")).items()}


def offer(
    run: Run, which: str, newly: Chosen, of: str | None, chosen: Chosen = None
) -> tuple[list[dict[str, str]], bool, str | None, bool, str, bool]:
    """What can be chosen under a panel: options, whether they can be searched, and the choice.

    That is the task of the `newly` chosen job, else what was chosen before, else the task of the
    `chosen` job, else the first; of those, the first that the panel can be about. Then whether the
    choice is hidden, what it is of, and whether the choice of windows is hidden.
    """
    panel = panel_of(which)
    empty = bool(panel.missing(run))
    names = panel.of(run) if panel.of and not empty else ()
    known = addressed(names)
    wanted = (_task(run, newly), of, _task(run, chosen), next(iter(known), None))
    value = next((name for name in wanted if name in known), None)
    options = [{"label": short(name), "value": key} for key, name in known.items()]
    return (
        options,
        len(names) > SEARCHED,
        value,
        not names,
        panel.of_what,
        empty or not panel.windows,
    )


def _task(run: Run, chosen: Chosen) -> str | None:
    job = None if chosen is None else run.job(chosen)
    return job["task"] if job else None


def asked_of(
    run: Run, panel: Panel, view: View, chosen: Chosen, of: str | None, windows: str | None
) -> Asked:
    """What the stores, or the address, ask of a panel."""
    name = name_of(run, panel, of)
    length = moves.typed(windows) if panel.windows and windows and windows in WINDOWS else None
    return Asked(view.start, view.end, chosen, name, length)


def name_of(run: Run, panel: Panel, of: str | None) -> str | None:
    """The thing that the address calls `of`; without one that there is, the first."""
    known = addressed(panel.of(run)) if panel.of else {}
    first = next(iter(known.values()), None)
    return first if of is None else known.get(of, first)


def draw(run: Run, panel: Panel, asked: Asked, sheet: Sheet) -> tuple[Any, str, str]:
    """Figure, sentence in its place, and the class that arranges the panel."""
    missing = panel.missing(run)
    if missing:
        return BLANK, missing, "body missing"
    figure, said = panel.figure(run, asked, sheet) if panel.figure else (None, "")
    if figure is None:
        return BLANK, said, f"body {panel.shape}"
    window = shown_window(run, panel, asked)
    told = {"what": named(panel, asked), "start": window.start, "end": window.end}
    figure["layout"]["meta"] = told
    return figure, "", f"body {panel.shape}"


def listed(run: Run, panel: Panel, of: str | None, order: Order | None = None) -> Any:
    """The table of a panel, None if it has none or nothing to show."""
    if panel.table is None or panel.missing(run):
        return None
    shown = page(panel.table(run, name_of(run, panel, of)), order)
    return table_component(shown, panel.label)


def named(panel: Panel, asked: Asked) -> str:
    """'load-archive': after what a file of this panel is named."""
    return panel.value if asked.of is None else f"{panel.value}-{asked.of[:LONGEST_NAME]}"


def shown_window(run: Run, panel: Panel, asked: Asked) -> View:
    """The time that a panel tells of: the visible window if it follows it, else the whole run."""
    follows = "view" in panel.follows
    return View(asked.start_ns, asked.end_ns) if follows else View(0, run.span_ns)


def order_of(panel: Panel, stored: dict[str, Any] | None) -> Order | None:
    """How the reader sorts this panel's table; None if they sort another's, or none."""
    if stored is None or stored.get("panel") != panel.value:
        return None
    return Order(str(stored.get("column")), bool(stored.get("down")))


def to_clicked(
    run: Run, panel: Panel, view: View, chosen: Chosen, clicked: dict[str, Any]
) -> tuple[View, Chosen] | None:
    """Where a click into a figure leads; None if what was clicked has no place."""
    point = clicked["points"][0]
    leads = point.get("customdata")
    if isinstance(leads, str):
        return moves.to_place(run, view, leads)
    if isinstance(leads, int):
        return moves.to_job(run, view, leads)
    if panel.over_time and isinstance(point.get("x"), int | float):
        return moves.to_instant(run, view, round(point["x"])), chosen
    return None


def take(run: Run, panel: Panel, asked: Asked, *, drawn: bool) -> tuple[Any, str]:
    """What the figure draws, or the whole table, as a download; or why there is none."""
    if missing := panel.missing(run):
        return no_update, missing
    if drawn and panel.data is not None:
        frame, what = panel.data(run, asked), named(panel, asked)
    elif panel.table is not None:
        grid = panel.table(run, asked.of)
        frame, what = grid.frame.select(list(grid.columns)), f"{named(panel, asked)}-table"
    else:
        return no_update, "There is no table here."
    if frame.height > MOST_ROWS:
        return no_update, (
            f"{grouped(frame.height)} rows, more than {grouped(MOST_ROWS)}: "
            "use tracelens report --tables"
        )
    return takeaway.table(frame, run, what, shown_window(run, panel, asked)), ""
