"""What run this is: its name, how long, how busy, and how much of it is known."""

from typing import Any

from dash import Dash, Input, Output, html
from dash.development.base_component import Component

from tracelens.drawing.runs import Run
from tracelens.numbers import duration, grouped, percent
from tracelens.plain import plain
from tracelens.web import ids
from tracelens.web.parts import live, report
from tracelens.web.rooms.nav import ROOMS, Rooms, nav
from tracelens.web.shelf import Shelf


def component(rooms: Rooms = ROOMS) -> Component:
    """The head of the page; its content depends on the run."""
    return html.Header(
        [
            html.Div(id=ids.HEADER, className="facts"),
            live.component(),
            html.Div(
                [report.component(), html.Div(nav(rooms=rooms), id=ids.ROOMS)], className="onward"
            ),
        ]
    )


def register(app: Dash, shelf: Shelf, rooms: Rooms = ROOMS) -> None:
    """Fill it whenever another run is opened."""

    @app.callback(
        Output(ids.HEADER, "children"), Output(ids.ROOMS, "children"), Input(ids.RUN, "data")
    )
    def header(stored: dict[str, Any] | None) -> tuple[list[Component], Component]:
        run = shelf.get(stored["id"]) if stored else None
        run_id = stored["id"] if stored else None
        return facts(run) if run else [], nav(run_id=run_id, rooms=rooms)


def facts(run: Run) -> list[Component]:
    """Name, span, load of each core, what is known, and what the log lost."""
    quality = run.analysis.quality
    loads = ", ".join(
        f"{lane.label} {'–' if load is None else percent(load)}"
        for lane, load in zip(run.lanes.of("core"), run.analysis.cores["load"], strict=True)
    )
    told = [
        *list(run.analysis.timeline.system.run.items())[:3],
        ("span", duration(run.span_ns)),
        ("load", loads),
        ("known", f"{percent(quality.coverage)} of core time"),
        ("events", grouped(quality.events)),
    ]
    damage = (("lost", quality.lost_events), ("contradictions", quality.contradictions))
    told += [(what, str(count)) for what, count in damage if count]
    pairs = [html.Div([html.Dt(plain(what)), html.Dd(plain(fact))]) for what, fact in told]
    return [html.H1(plain(run.name)), html.Dl(pairs)]
