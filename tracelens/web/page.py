"""The page on one run: its parts, the stores that they share, and the address that holds both.

What a reader looks at is in the stores of their browser: the run, the visible window (`VIEW`) and
the chosen job. The script of the page writes them into the address, so that a link shows the same.
"""

from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component

from tracelens.plain import plain
from tracelens.web import ids, moves
from tracelens.web.following import Follower
from tracelens.web.parts import (
    findings,
    gone,
    header,
    job,
    lanes,
    live,
    panel,
    report,
    schedule,
    strip,
)
from tracelens.web.rooms.nav import ROOMS, Rooms
from tracelens.web.shelf import Shelf

PARTS = (gone, report, strip, findings, schedule, lanes, job, panel)


def component(rooms: Rooms = ROOMS) -> Component:
    """The whole page; what depends on the run comes when its address is known."""
    return html.Div(
        [
            dcc.Location(id=ids.ADDRESS, refresh=False),
            dcc.Store(id=ids.RUN),
            dcc.Store(id=ids.VIEW),
            dcc.Store(id=ids.CHOSEN),
            dcc.Store(id=ids.MARKED),
            dcc.Store(id=ids.SCREEN),
            dcc.Store(id=ids.DRAWING),
            header.component(rooms),
            gone.component(),
            strip.component(),
            html.Div(
                [
                    findings.component(),
                    schedule.component(),
                    job.component(),
                    panel.component(),
                ],
                className="columns",
            ),
        ],
        className="page",
    )


def register(
    app: Dash, shelf: Shelf, follower: Follower | None = None, rooms: Rooms = ROOMS
) -> None:
    """Connect the page of `app` to the runs on the shelf, and to a log that grows."""
    _in_the_browser(app)

    @app.callback(
        Output(ids.RUN, "data"),
        Output(ids.VIEW, "data", allow_duplicate=True),
        Output(ids.CHOSEN, "data"),
        Input(ids.ADDRESS, "search"),
        prevent_initial_call="initial_duplicate",
    )
    def opened(search: str | None) -> Any:
        run_id = shelf.newest(moves.run_of(search or "") or shelf.first() or "")
        run = shelf.get(run_id)
        if run is None:
            return no_update, no_update, no_update
        view, chosen = moves.from_address(run, search or "")
        if live.is_live(run_id) and not moves.names_a_place(search or ""):
            view, chosen = live.at_the_end(run), None
        stored = {"id": run_id, "span": run.span_ns, "name": plain(run.name)}
        return stored, view.stored(), chosen

    header.register(app, shelf, rooms)
    for part in PARTS:
        part.register(app, shelf)
    live.register(app, shelf, follower)


def _in_the_browser(app: Dash) -> None:
    app.clientside_callback(
        ClientsideFunction("page", "moved"),
        Output(ids.VIEW, "data"),
        Input(ids.SCHEDULE, "relayoutData"),
        State(ids.RUN, "data"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("page", "placed"),
        Output(ids.STRIP, "className"),
        Input(ids.VIEW, "data"),
        Input(ids.CHOSEN, "data"),
        Input(ids.RUN, "data"),
    )
    app.clientside_callback(
        ClientsideFunction("page", "marked"),
        Output(ids.FINDINGS, "className"),
        Input(ids.FINDINGS, "data-marked"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("page", "stepping"),
        Output(ids.STEP_KIND, "value"),
        Input(ids.STEP_KIND, "value"),
    )
    app.clientside_callback(
        ClientsideFunction("page", "shown"),
        Output(ids.SCHEDULE, "figure"),
        Input(ids.DRAWING, "data"),
        prevent_initial_call=True,
    )
