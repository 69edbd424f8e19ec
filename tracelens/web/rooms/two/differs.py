"""What differs between two runs: the verdict of the comparison, and each task's numbers."""

from collections.abc import Callable, Sequence
from typing import Any, Final

import polars as pl
from dash import html
from dash.development.base_component import Component

from tracelens.comparison import wording
from tracelens.comparison.compare import compare
from tracelens.comparison.observed import observe
from tracelens.comparison.records import Comparison
from tracelens.drawing.runs import Run
from tracelens.errors import UsageError
from tracelens.numbers import ABSENT, hundredths, time_in, time_unit
from tracelens.plain import plain
from tracelens.web.components import sentence
from tracelens.web.panels.panel import short

_MOST_SAID: Final = 8
MOST_TASKS: Final = 60
_TIMES: Final = (
    ("response_p50_ns", "half of the jobs"),
    ("response_p95_ns", "95 %"),
    ("response_max_ns", "slowest"),
)


def differences(a: Run, b: Run) -> tuple[str, list[Component]]:
    """The verdict; and sentences with a table under it. The first run is the old one."""
    try:
        found = compare([observe(a.analysis, "first")], [observe(b.analysis, "second")])
    except UsageError as error:
        return plain(error.problem), []
    told = html.Ul([html.Li(sentence(text)) for text in _sentences(found)])
    return sentence(wording.verdict(found)), [html.H2("what differs"), told, _table(a, b)]


def _sentences(found: Comparison) -> list[str]:
    moved = found.moved.head(_MOST_SAID).to_dicts()  # few rows: what is said
    said = [
        *(one.text for one in found.differences),
        *wording.presence(found),
        *(wording.moved(row) for row in moved),
    ]
    left_out = found.moved.height - len(moved) + max(0, len(said) - 2 * _MOST_SAID)
    rest = [f"{left_out} more: tracelens compare says them all."] if left_out else []
    return [*said[: 2 * _MOST_SAID], *rest]


def _table(a: Run, b: Run) -> Component:
    """Response times in one unit, misses and load of each task that both runs have."""
    columns = [name for name, _ in _TIMES]
    wanted = ["task", *columns, "deadline_misses", "load"]
    mine = a.analysis.tasks.filter(~pl.col("idle")).select(wanted)
    both = mine.join(b.analysis.tasks.select(wanted), on="task", suffix="_b", maintain_order="left")
    unit = time_unit(ns for name in columns for side in ("", "_b") for ns in both[name + side])
    heads = [*(f"{title}, {unit}" for _, title in _TIMES), "late", "load, %"]
    rows = []
    for row in both.head(MOST_TASKS).rows(named=True):  # few rows: one a task
        cells = [_sides(row, column, lambda ns: time_or_absent(ns, unit)) for column in columns]
        cells += [_sides(row, "deadline_misses", count_or_absent), _sides(row, "load", _share)]
        rows.append((short(row["task"]), cells))
    table = pairs(heads, ("first", "second"), rows)
    if both.height <= MOST_TASKS:
        return table
    left_out = f"The first {MOST_TASKS} of {both.height} tasks; tracelens compare has all."
    return html.Div([table, html.P(left_out, className="quiet")])


def pairs(
    heads: Sequence[str],
    sides: tuple[str, str],
    rows: Sequence[tuple[Any, Sequence[tuple[str, str]]]],
) -> Component:
    """A table with two cells under each head; the second stands out where it differs."""
    return html.Table(
        [
            html.Thead(
                [
                    html.Tr(
                        [
                            html.Th("response time of", scope="col"),
                            *(html.Th(title, colSpan=2, scope="colgroup") for title in heads),
                        ]
                    ),
                    html.Tr([html.Th(), *(html.Th(n, scope="col") for _ in heads for n in sides)]),
                ]
            ),
            html.Tbody(
                [
                    html.Tr(
                        [html.Th(name, scope="row"), *(td for two in cells for td in _pair(two))]
                    )
                    for name, cells in rows
                ]
            ),
        ],
        className="responses pairs",
    )


def _sides(row: dict[str, Any], column: str, told: Callable[[Any], str]) -> tuple[str, str]:
    return told(row[column]), told(row[f"{column}_b"])


def _pair(texts: Sequence[str]) -> list[Any]:
    """Two cells; the second stands out if it differs."""
    first, second = texts
    return [html.Td(first), html.Td(html.B(second) if first != second else second)]


def time_or_absent(ns: int | None, unit: str) -> str:
    """A time in a column of one unit."""
    return ABSENT if ns is None else time_in(unit, ns)


def count_or_absent(number: int | None) -> str:
    """A count in a column."""
    return ABSENT if number is None else str(number)


def _share(share: float | None) -> str:
    return ABSENT if share is None else hundredths(share)
