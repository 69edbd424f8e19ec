"""What the page says when its run is not on the shelf any more."""

from typing import Any, Final

from dash import ALL, Dash, Input, Output, State, html
from dash.development.base_component import Component

from tracelens.web import ids
from tracelens.web.rooms.nav import OPEN
from tracelens.web.shelf import Shelf

_ASKING: Final = (
    ids.PREVIOUS,
    ids.NEXT,
    ids.WHOLE,
    ids.REPORT,
    ids.csv(ALL),
    {"type": ids.FINDING, "index": ALL},
)
"""Buttons that would do nothing, in silence."""


def component() -> Component:
    """A line over the page; empty while the run is there."""
    return html.P(id=ids.GONE, className="gone", role="alert")


def register(app: Dash, shelf: Shelf) -> None:
    """Look whenever the reader moves or presses something: nothing else would answer them."""

    @app.callback(
        Output(ids.GONE, "children"),
        Input(ids.VIEW, "data"),
        Input(ids.CHOSEN, "data"),
        Input(ids.PANELS, "value"),
        *(Input(button, "n_clicks") for button in _ASKING),
        State(ids.RUN, "data"),
    )
    def gone(*told: Any) -> Any:
        stored: dict[str, Any] | None = told[-1]
        return None if stored is None or shelf.get(shelf.newest(stored["id"])) else said()


def said() -> list[Any]:
    """That the run is gone, why, and what to do."""
    return [
        "This run is not here any more: the page was started anew since, or put it aside for "
        "newer ones. ",
        html.A("Open its log again", href=OPEN),
        "; nothing of the log is kept.",
    ]
