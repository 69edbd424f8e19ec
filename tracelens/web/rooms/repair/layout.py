"""What the room 'try a repair' is made of: changes, what is predicted, and both schedules."""

from typing import Any
from urllib.parse import urlencode

from dash import dcc, html
from dash.development.base_component import Component

from tracelens.model.system import PROTOCOLS
from tracelens.web.components import aria, key
from tracelens.web.rooms.nav import OPEN, REPAIR, ROOMS, Rooms, nav
from tracelens.web.rooms.repair import ids
from tracelens.web.rooms.repair.asked import OFFERED, Written, in_words
from tracelens.web.rooms.two import ids as two
from tracelens.web.rooms.two.layout import moving, side
from tracelens.web.shelf import SAMPLE

POLL_MS = 300


def component(rooms: Rooms = ROOMS) -> Component:
    """The whole room."""
    return html.Main(
        [
            dcc.Location(id=two.ADDRESS, refresh=False),
            *(dcc.Store(id=name) for name in (two.PAIR, two.VIEW, two.MOMENTS, two.SCREEN)),
            dcc.Store(id=ids.ASKED),
            dcc.Store(id=ids.TICKET),
            dcc.Interval(id=ids.TICK, interval=POLL_MS, disabled=True),
            html.Header([html.H1("try a repair"), nav(REPAIR, rooms=rooms)]),
            html.Div(id=two.MISSING),
            html.Section(
                [
                    _controls(),
                    html.P(id=ids.STEP, className="quiet", role="status"),
                    html.P(id=ids.PROBLEM, className="mistake", role="alert"),
                    html.Div(
                        [
                            html.Div(id=ids.BELIEVED),
                            html.P(id=two.VERDICT, role="status"),
                            html.Div(id=ids.NUMBERS),
                            html.Div([html.P(id=two.ONLY), moving("whole run")], className="bar"),
                            side("a", "recorded run"),
                            side("b", "predicted run"),
                            html.Div(key(), className="key"),
                        ],
                        id=ids.ANSWER,
                        hidden=True,
                    ),
                ],
                id=two.RESULTS,
                className="results",
                hidden=True,
                **aria("What a repair would do"),
            ),
        ],
        className="room two repair",
    )


def _controls() -> Component:
    return html.Div(
        [
            html.Label(
                [
                    html.Span("change", className="quiet"),
                    _choice(ids.KIND, [{"value": k, "label": OFFERED[k]} for k in OFFERED]),
                ]
            ),
            html.Label(
                [html.Span("of", className="quiet"), _choice(ids.SUBJECT, [])], id=ids.SUBJECT_BOX
            ),
            html.Label(
                [
                    html.Span("to", className="quiet"),
                    _choice(
                        ids.PROTOCOL,
                        [
                            {"value": word, "label": PROTOCOLS[word]}
                            for word in ("inherit", "ceiling", "none")
                        ],
                        "inherit",
                    ),
                ],
                id=ids.PROTOCOL_BOX,
            ),
            html.Label(
                [
                    html.Span("to", className="quiet"),
                    dcc.Input(id=ids.VALUE, type="text", maxLength=20, autoComplete="off"),
                ],
                id=ids.VALUE_BOX,
                hidden=True,
            ),
            html.Button("try it", id=ids.ADD),
            html.Div(id=ids.CHANGES, className="choices", role="group", **aria("Changes")),
        ],
        className="bar changing",
        role="group",
        **aria("Change the run"),
    )


def _choice(name: str, options: list[Any], value: str | None = None) -> Component:
    return dcc.Dropdown(options, value, id=name, clearable=False, searchable=len(options) != 3)


def listed(told: Written) -> list[Component]:
    """The changes that are made, each with a button that takes it out."""
    if not told:
        return [html.Span("no change yet: the run is replayed as it was", className="quiet")]
    return [
        html.Button(
            f"{said} ✕", id=ids.remove(number), title="take it out", **aria(f"take out {said}")
        )
        for number, said in enumerate(in_words(*one) for one in told)
    ]


def missing(gone: bool) -> Component:
    """What to do where no run is to be repaired."""
    query = {"run": f"{SAMPLE}knitting_inversion", "protocol": "flash_bus=inherit"}
    said = "The run is not here any more. " if gone else ""
    return html.Section(
        [
            html.P(html.A(f"{said}Open a log", href=OPEN)),
            html.P(
                [
                    "A recorded run is replayed with something changed, and the prediction stands "
                    "under the record. ",
                    html.A("A sample shows it", href=f"{REPAIR}?{urlencode(query)}"),
                    ".",
                ],
                className="quiet",
            ),
        ],
        className="missing",
    )


def head(which: str, run_id: str) -> list[Component]:
    """The line over one schedule."""
    return [
        html.H2(which),
        html.A("alone", href=f"/?{urlencode({'run': run_id})}"),
    ]
