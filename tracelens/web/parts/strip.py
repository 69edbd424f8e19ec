"""The whole run at a glance, with the visible window as a bracket."""

from typing import Any

from dash import Dash, Input, Output, dcc, html, no_update
from dash.development.base_component import Component

from tracelens.drawing import swimlanes
from tracelens.web import ids
from tracelens.web.components import BLANK, FIGURE, UNSPOKEN, aria
from tracelens.web.screen import Screen, sheet_of
from tracelens.web.shelf import Shelf


def component() -> Component:
    """The strip; the script of the page moves the bracket."""
    return html.Section(
        [
            dcc.Graph(id=ids.STRIP, figure=BLANK, config=FIGURE, responsive=True),
            html.Div(className="bracket", **UNSPOKEN),
        ],
        className="strip",
        **aria("Whole run: load of each core, a tick per late job, the visible window"),
    )


def register(app: Dash, shelf: Shelf) -> None:
    """Draw it for the run and the width of the browser."""

    @app.callback(Output(ids.STRIP, "figure"), Input(ids.SCREEN, "data"), Input(ids.RUN, "data"))
    def strip(screen: Screen, stored: dict[str, Any] | None) -> Any:
        sheet = sheet_of(screen, ids.STRIP)
        run = shelf.get(stored["id"]) if stored else None
        return no_update if sheet is None or run is None else swimlanes.whole_run(run, sheet)
