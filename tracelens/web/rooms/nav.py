"""The way from room to room, at the right of every head."""

from typing import Any, Final
from urllib.parse import urlencode

from dash import html
from dash.development.base_component import Component

from tracelens.web.components import aria

OPEN: Final = "/open/"
CLASSROOM: Final = "/classroom/"
TWO: Final = "/two/"

ROOMS: Final = ((OPEN, "open a log"), (CLASSROOM, "classroom"), (TWO, "two runs"))
"""(path, name) of each room."""


def nav(here: str | None = None, run_id: str | None = None) -> Component:
    """Links to the rooms; `here` is the path of this one. `run_id` is taken along to 'two runs'."""
    query = f"?{urlencode({'a': run_id})}" if run_id else ""
    return html.Nav(
        [
            html.A(name, href=path + (query if path == TWO else ""), **_current(path == here))
            for path, name in ROOMS
        ],
        className="rooms",
        **aria("Rooms"),
    )


def _current(here: bool) -> dict[str, Any]:
    return {"aria-current": "page"} if here else {}
