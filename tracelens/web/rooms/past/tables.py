"""The tables of the room: the measures that can be chosen, and the runs."""

from collections.abc import Sequence
from typing import Any, Final

import polars as pl
from dash import dcc, html
from dash.development.base_component import Component

from tracelens.history import wording
from tracelens.history.trends import course
from tracelens.numbers import ABSENT, aligned, chance, count
from tracelens.plain import plain
from tracelens.report.blocks import Column, Kind, Table
from tracelens.report.past import runs_table
from tracelens.web.rooms.past.asked import Asked
from tracelens.web.rooms.past.folder import Look

MOST_MEASURES: Final = 300
_LONGEST: Final = 60
_NAMES: Final = 2
"""Columns of the runs' table that name a run, before the value."""


def measures(look: Look, asked: Asked, chosen: dict[str, Any]) -> list[Component]:
    """The measures as a table; the name of each is the link that chooses it."""
    rows = look.found.head(MOST_MEASURES).to_dicts()
    columns = [
        [_level(row, "before") for row in rows],
        [_level(row, "after") for row in rows],
        aligned([_chance(row["change_p"]) for row in rows]),
        aligned([_chance(row["trend_p"]) for row in rows]),
    ]
    body: list[Component] = []
    for row, cells in zip(rows, zip(*columns, strict=True), strict=True):
        link = asked.link(measure=row["measure"], subject=row["subject"])
        here = (row["measure"], row["subject"]) == (chosen["measure"], chosen["subject"])
        current: dict[str, Any] = {"aria-current": "true"} if here else {}
        body.append(
            html.Tr(
                [
                    html.Th(dcc.Link(short(wording.measure_name(row)), href=link), scope="row"),
                    html.Td(_changed(row)),
                    *(html.Td(cell, className="number") for cell in cells),
                ],
                **current,
            )
        )
    heads = ("measure", "changed", "before", "after", "p step", "p drift")
    rest = look.found.height - len(rows)
    told = [_table(heads, [False, False, True, True, True, True], body)]
    if rest:
        more = f"{count(rest, 'more measure')}: tracelens history trend --json has all."
        told.append(html.P(more, className="quiet"))
    return told


def _changed(row: dict[str, Any]) -> list[Any]:
    if row["shape"] is None:
        return []
    sign, word = ("▲", "worse") if row["worse"] else ("▽", "better")
    side = "error" if row["worse"] else "note"
    return [html.Span(sign, className=f"sign {side}"), f" {row['shape']}, {word}"]


def _level(row: dict[str, Any], side: str) -> str:
    return ABSENT if row[side] is None else wording.value(row[side], row["unit"])


def _chance(p: float | None) -> str:
    return ABSENT if p is None else chance(p)


def runs(look: Look, chosen: dict[str, Any]) -> list[Component]:
    """The runs, the newest first, with the value of the chosen measure."""
    listed = runs_table(look.history)
    named = look.history.runs["run"].to_list()[-len(listed.rows) :]
    points = course(look.history, chosen)
    value = dict(zip(points["run"], points["value"], strict=True))
    begins = chosen["changed_at"] if chosen["shape"] == "step" else None
    is_time = chosen["unit"] == "ns"
    kind: Kind = "time" if is_time else "share" if chosen["unit"] == "share" else "number"
    head = short(wording.measure_name(chosen))
    ours = (Column(head, kind, group="chosen"), Column(""))
    rows = []
    for run, row in zip(named, listed.rows, strict=True):
        number = value.get(run)
        cell = round(number) if is_time and number is not None else number
        mark = "◆ the step is here" if run == begins else ""
        rows.append((*row[:_NAMES], cell, mark, *row[_NAMES:]))
    columns = (*listed.columns[:_NAMES], *ours, *listed.columns[_NAMES:])
    shown = Table(columns, tuple(reversed(rows))).shown()
    cells = [
        aligned(column) if numeric else [short(text) for text in column]
        for column, numeric in zip(zip(*shown.rows, strict=True), shown.numeric, strict=True)
    ]
    body = [
        html.Tr(
            [_cell(text, numeric) for text, numeric in zip(texts, shown.numeric, strict=True)],
            className="begins" if run == begins else None,
        )
        for run, texts in zip(reversed(named), zip(*cells, strict=True), strict=True)
    ]
    heads = [
        f"{short(head)}, {unit}" if unit else short(head)
        for head, unit in zip(shown.heads, shown.units, strict=True)
    ]
    return [
        html.H2("runs"),
        html.Div(_table(heads, shown.numeric, body), className="listed", tabIndex="0"),
        html.P(plain(listed.note), className="quiet"),
        *(html.P(plain(text), className="notice") for text in look.history.unreadable),
    ]


def _table(heads: Sequence[str], numeric: Sequence[bool], body: Sequence[Component]) -> Component:
    row = [
        html.Th(head, scope="col", className="number" if is_number else None)
        for head, is_number in zip(heads, numeric, strict=True)
    ]
    return html.Table([html.Thead(html.Tr(row)), html.Tbody(list(body))])


def _cell(text: str, numeric: bool) -> Component:
    return html.Td(text, className="number" if numeric else None)


def taken(look: Look, chosen: dict[str, Any]) -> pl.DataFrame:
    """What the figure shows, as a table: `COURSE` with the log and the keys of each run."""
    of_run = pl.concat_str(
        pl.element().struct.field("key"), pl.lit("="), pl.element().struct.field("value")
    )
    logs = look.history.runs.select(
        "run", "source", run_keys=pl.col("keys").list.eval(of_run).list.join(" ")
    )
    return course(look.history, chosen).join(logs, on="run", how="left", maintain_order="left")


def short(text: str) -> str:
    """A name from a log for one line of the page: harmless, and cut at the end."""
    return plain(text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1]}…")
