"""The room of a history connected: the address in, everything that stands in the room out.

The directory comes from the command line, never from an address. Nothing else is kept on the
server; it is read again when a run was added.
"""

from typing import Any

from dash import Dash, Input, Output, State, no_update

from tracelens.drawing.course import course as drawn_course
from tracelens.drawing.sheet import Sheet
from tracelens.errors import InputError
from tracelens.history import wording
from tracelens.history.trends import course
from tracelens.plain import plain
from tracelens.web import ids as page_ids
from tracelens.web.components import BLANK, sentence
from tracelens.web.rooms.nav import ROOMS, Rooms
from tracelens.web.rooms.past import ids, layout, tables
from tracelens.web.rooms.past.asked import Asked, asked
from tracelens.web.rooms.past.folder import Folder, Look
from tracelens.web.takeaway import safe_name, sent

HEIGHT_PX = 380


def register(app: Dash, folder: Folder, rooms: Rooms = ROOMS) -> None:
    """Lay the room out and connect it to the directory."""
    app.layout = lambda: layout.component(folder, rooms)

    @app.callback(
        Output(ids.STAMP, "data"),
        Input(ids.CLOCK, "n_intervals"),
        State(ids.STAMP, "data"),
        prevent_initial_call=True,
    )
    def added(_ticks: int | None, stamp: str | None) -> Any:
        now = folder.stamp()
        return no_update if now == stamp else now

    @app.callback(
        Output(ids.MISSING, "children"),
        Output(ids.ROOM, "hidden"),
        Output(ids.VERDICT, "children"),
        Output(ids.FILTERS, "children"),
        Output(ids.MEASURES, "children"),
        Output(ids.SAID, "children"),
        Output(ids.OVER, "children"),
        Output(ids.RUNS, "children"),
        Input(ids.ADDRESS, "search"),
        Input(ids.STAMP, "data"),
    )
    def shown(search: str | None, _stamp: str | None) -> Any:
        wanted = asked(search)
        try:
            look = folder.look(wanted.where, wanted.last)
            whole = folder.look()
        except InputError as error:
            return layout.missing(folder, error, wanted), True, *(None,) * 6
        chosen = wanted.chosen(look)
        return (
            None,
            False,
            sentence(wording.verdict(look.found, look.history.runs.height)),
            layout.filters(whole, wanted),
            tables.measures(look, wanted, chosen),
            layout.said(look, chosen, wanted),
            layout.over(wanted),
            tables.runs(look, chosen),
        )

    @app.callback(
        Output(ids.FIGURE, "figure"),
        Input(ids.ADDRESS, "search"),
        Input(ids.STAMP, "data"),
        Input(ids.SCREEN, "data"),
    )
    def drawn(search: str | None, _stamp: str | None, screen: dict[str, Any] | None) -> Any:
        if not screen:
            return no_update
        wanted = asked(search)
        try:
            look = folder.look(wanted.where, wanted.last)
        except InputError:
            return BLANK
        width = min(max(int(screen["width"]), 300), 4000)
        sheet = Sheet(width, HEIGHT_PX, "dark" if screen["scheme"] == "dark" else "light")
        return figure(folder, look, wanted, sheet)

    @app.callback(
        Output(page_ids.csv_file(layout.WHAT), "data"),
        Output(page_ids.csv_note(layout.WHAT), "children"),
        Input(page_ids.csv(layout.WHAT), "n_clicks"),
        State(ids.ADDRESS, "search"),
        prevent_initial_call=True,
    )
    def table(clicks: int | None, search: str | None) -> Any:
        if not clicks:
            return no_update, ""
        wanted = asked(search)
        try:
            look = folder.look(wanted.where, wanted.last)
        except InputError as error:
            return no_update, plain(error.problem)
        chosen = wanted.chosen(look)
        return sent(tables.taken(look, chosen), f"{stem(folder, chosen)}.csv"), ""


def figure(folder: Folder, look: Look, wanted: Asked, sheet: Sheet) -> dict[str, Any]:
    """The course of the chosen measure; `meta` says what its file is called."""
    chosen = wanted.chosen(look)
    points = course(look.history, chosen)
    made = drawn_course(points, chosen, look.history.runs.to_dicts(), wanted.by, sheet)
    made["layout"]["meta"] = {"file": stem(folder, chosen)}
    return made


def stem(folder: Folder, chosen: dict[str, Any]) -> str:
    """'nightly-response-needle_select'."""
    return safe_name(folder.name, chosen["measure"], chosen["subject"][:80])
