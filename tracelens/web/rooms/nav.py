"""The way from room to room, at the right of every head."""

from typing import Any, Final
from urllib.parse import urlencode

from dash import html
from dash.development.base_component import Component

from tracelens.web.components import aria

OPEN: Final = "/open/"
CLASSROOM: Final = "/classroom/"
TWO: Final = "/two/"
REPAIR: Final = "/repair/"
HISTORY: Final = "/history/"

Rooms = tuple[tuple[str, str], ...]
"""(path, name) of each room."""

ROOMS: Final[Rooms] = (
    (OPEN, "open a log"),
    (CLASSROOM, "classroom"),
    (TWO, "two runs"),
    (REPAIR, "try a repair"),
)
WITH_HISTORY: Final[Rooms] = (*ROOMS, (HISTORY, "history"))
"""Where the page was given a history."""


def nav(here: str | None = None, run_id: str | None = None, rooms: Rooms = ROOMS) -> Component:
    """Links to the rooms; `here` is the path of this one. Rooms for a run are given `run_id`."""
    taken = {TWO: "a", REPAIR: "run"} if run_id else {}
    return html.Nav(
        [
            html.A(name, href=_with(path, taken.get(path), run_id), **_current(path == here))
            for path, name in rooms
        ],
        className="rooms",
        **aria("Rooms"),
    )


def _with(path: str, word: str | None, run_id: str | None) -> str:
    return f"{path}?{urlencode({word: run_id})}" if word else path


def _current(here: bool) -> dict[str, Any]:
    return {"aria-current": "page"} if here else {}
