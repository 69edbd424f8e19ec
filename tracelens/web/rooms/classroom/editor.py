"""The table in which a set is edited, and its settings."""

from collections.abc import Iterable
from typing import Any, Final

from dash import dcc, html
from dash.development.base_component import Component

from tracelens.model.system import PROTOCOLS
from tracelens.web.components import aria
from tracelens.web.rooms.classroom import ids
from tracelens.web.rooms.classroom.examples import examples
from tracelens.web.rooms.classroom.exercise import (
    COLUMNS,
    LONGEST_CELL,
    MOST_CORES,
    POLICIES,
    Exercise,
    Mistake,
    Row,
)

HEADS: Final = {
    "name": "task",
    "priority": "priority",
    "period": "period, ms",
    "first": "first release, ms",
    "deadline": "deadline, ms",
    "steps": "what a job does, in ms",
}
_EMPTY_MEANS: Final = {"period": "once", "first": "0", "deadline": "none", "priority": ""}
SETTING_NAMES: Final = {
    "policy": "policy",
    "order": "priorities",
    "slice": "turn",
    "cores": "cores",
    "until": "end",
    "protocols": "locks",
    "rows": "table",
}


def component() -> Component:
    """Examples, table and settings; what they hold comes with the address."""
    return html.Section(
        [
            html.Div(
                [html.H2("task set"), html.Span(id=ids.ABOUT, className="quiet"), _examples()],
                className="bar",
            ),
            html.P(id=ids.NOTE, className="notice", role="alert"),
            html.Table(
                [
                    html.Thead(
                        html.Tr(
                            [
                                *(html.Th(HEADS[c], scope="col", className=c) for c in COLUMNS),
                                html.Th(html.Span("take away", className="unseen"), scope="col"),
                            ]
                        )
                    ),
                    html.Tbody(id=ids.TABLE),
                ],
                className="editor",
            ),
            html.Div(
                [
                    html.Button("add a task", id=ids.ADD, type="button"),
                    html.Span(
                        "steps, with commas between them: run 2 · lock Q · unlock Q · suspend 1 · "
                        "activate a",
                        className="quiet",
                    ),
                    html.A(
                        "the set as a file",
                        id=ids.TOML,
                        className="right",
                        download="exercise.toml",
                    ),
                ],
                className="bar",
            ),
            _settings(),
            html.P(id=ids.SETTINGS_WRONG, className="mistake", role="alert"),
        ],
        className="set",
        **aria("Task set"),
    )


def _examples() -> Component:
    """Every example with what its file says of it, as links: they can be passed on."""
    told = [
        part
        for name, example in examples().items()
        for part in (html.Dt(html.A(name, href=f"?example={name}")), html.Dd(example.about))
    ]
    return html.Details(
        [html.Summary("take an example"), html.Section(html.Dl(told), className="samples")],
        className="examples",
    )


def _settings() -> Component:
    return html.Div(
        [
            _group("policy", dcc.RadioItems(_choices(POLICIES), id=ids.POLICY, inline=True)),
            html.Div(_typed("turn, ms", ids.SLICE), id=ids.SLICE_BOX),
            dcc.Checklist([{"value": "yes", "label": "preemptive"}], id=ids.PREEMPTIVE),
            _group(
                "more urgent is the",
                dcc.RadioItems(
                    _choices({"higher_first": "higher", "lower_first": "lower number"}),
                    id=ids.ORDER,
                    inline=True,
                ),
            ),
            _group(
                "cores",
                dcc.RadioItems(
                    [str(n) for n in range(1, MOST_CORES + 1)], id=ids.CORES, inline=True
                ),
            ),
            _typed("end, ms", ids.UNTIL),
            _group("locks", dcc.Checklist(_choices(PROTOCOLS), id=ids.PROTOCOLS, inline=True)),
        ],
        className="settings",
    )


def _choices(named: dict[str, str]) -> list[dict[str, str]]:
    return [{"value": value, "label": label} for value, label in named.items()]


def _group(name: str, choice: Component) -> Component:
    return html.Div([html.Span(name, className="quiet"), choice], role="group", **aria(name))


def _typed(name: str, setting: str) -> Component:
    field = dcc.Input(id=setting, type="text", debounce=True, maxLength=12, autoComplete="off")
    return html.Label([html.Span(name, className="quiet"), field])


def lines(exercise: Exercise) -> list[Component]:
    """The rows of the table, each with a line under it for what is wrong."""
    return [
        part
        for number, row in enumerate(exercise.rows)
        for part in (_row(number, row), _wrong(number))
    ]


def _row(number: int, row: Row) -> Component:
    cells = [html.Td(_cell(number, column, getattr(row, column))) for column in COLUMNS]
    away = html.Button("×", id=ids.remove(number), type="button", title=f"take away {row.name}")
    return html.Tr([*cells, html.Td(away)])


def _cell(number: int, column: str, text: str) -> Component:
    return html.Label(
        [
            html.Span(f"{HEADS[column]} of task {number + 1}", className="unseen"),
            dcc.Input(
                id=ids.cell(number, column),
                value=text,
                type="text",
                debounce=True,
                placeholder=_EMPTY_MEANS.get(column, ""),
                maxLength=LONGEST_CELL if column == "steps" else 60,
                autoComplete="off",
                className=f"cell {column}",
            ),
        ]
    )


def _wrong(number: int) -> Component:
    return html.Tr(
        html.Td(html.Span(id=ids.wrong(number), role="alert"), colSpan=len(COLUMNS) + 1),
        className="mistake",
    )


def said(found: Iterable[Mistake], row: int | None) -> list[Any]:
    """What is wrong in one row, or, for None, in the settings: a line each."""
    lines: list[Any] = []
    for mistake in found:
        if mistake.row == row:
            names = HEADS if row is not None else SETTING_NAMES
            name = names.get(mistake.column, "").partition(",")[0]
            lines.append(html.Div(f"{name}: {mistake.text}" if name else mistake.text))
    return lines
