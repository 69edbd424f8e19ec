"""Which lanes the schedule shows: found by name, by kind, put first, ordered, quiet ones folded."""

from dataclasses import replace
from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component

from tracelens.drawing.choice import choose
from tracelens.drawing.lanes import DRAWN
from tracelens.drawing.runs import Run
from tracelens.plain import plain
from tracelens.web import ids
from tracelens.web.components import aria
from tracelens.web.moves import View, fit
from tracelens.web.shelf import Shelf

_KINDS = {
    "isr": "interrupts",
    "task": "tasks",
    "core": "cores",
    "lock": "locks",
    "queue": "queues",
}
_ORDERS = {"urgency": "most urgent first", "busy": "busiest first", "name": "by name"}


def component() -> Component:
    """A button that opens the choice."""
    return html.Details(
        [
            html.Summary("lanes", id=ids.LANES_SUMMARY, title="Choose, order and fold lanes"),
            html.Div(
                [
                    html.Label("with a name that has", htmlFor=ids.LANES_FIND),
                    dcc.Input(
                        id=ids.LANES_FIND,
                        type="text",
                        debounce=0.3,
                        placeholder="words",
                        autoComplete="off",
                    ),
                    html.Span("of the kinds"),
                    dcc.Checklist(
                        [{"value": kind, "label": label} for kind, label in _KINDS.items()],
                        id=ids.LANES_KINDS,
                        value=list(_KINDS),
                        inline=True,
                        className="choices",
                    ),
                    html.Span("kept on top", title="A click on a lane’s name puts it there, too"),
                    html.Div(
                        dcc.Dropdown([], id=ids.LANES_FIRST, multi=True, placeholder="none"),
                        className="chooser",
                        **aria("Lanes kept on top, in this order"),
                    ),
                    html.Span("the others"),
                    dcc.RadioItems(
                        [{"value": order, "label": label} for order, label in _ORDERS.items()],
                        id=ids.LANES_ORDER,
                        value="urgency",
                        inline=True,
                        className="choices",
                    ),
                    html.Span("quiet ones"),
                    dcc.Checklist(
                        [{"value": "fold", "label": "as one line while nothing happens in them"}],
                        id=ids.LANES_FOLD,
                        value=[],
                        className="choices",
                    ),
                ],
                className="popover",
            ),
        ],
        className="lanes",
    )


def register(app: Dash, shelf: Shelf) -> None:
    """Take the reader's choice into the view, and a link's choice into the controls."""

    @app.callback(
        Output(ids.LANES_FIND, "value"),
        Output(ids.LANES_KINDS, "value"),
        Output(ids.LANES_FIRST, "options"),
        Output(ids.LANES_FIRST, "value"),
        Output(ids.LANES_ORDER, "value"),
        Output(ids.LANES_FOLD, "value"),
        Input(ids.RUN, "data"),
        State(ids.VIEW, "data"),
    )
    def opened(stored: dict[str, Any] | None, view: dict[str, Any] | None) -> Any:
        run = shelf.get(stored["id"]) if stored else None
        if run is None or view is None:
            return (no_update,) * 6
        return controls(run, View(**view))

    @app.callback(
        Output(ids.VIEW, "data", allow_duplicate=True),
        Input(ids.LANES_FIND, "value"),
        Input(ids.LANES_KINDS, "value"),
        Input(ids.LANES_FIRST, "value"),
        Input(ids.LANES_ORDER, "value"),
        Input(ids.LANES_FOLD, "value"),
        State(ids.VIEW, "data"),
        State(ids.RUN, "data"),
        prevent_initial_call=True,
    )
    def chosen(
        find: str | None,
        kinds: list[str],
        first: list[str] | None,
        order: str,
        fold: list[str],
        view: dict[str, Any] | None,
        stored: dict[str, Any] | None,
    ) -> Any:
        run = shelf.get(stored["id"]) if stored else None
        if run is None or view is None:
            return no_update
        now = View(**view)
        then = choice(run, now, find or "", kinds, first or [], order, bool(fold))
        return no_update if then.stored() == now.stored() else then.stored()

    @app.callback(
        Output(ids.LANES_SUMMARY, "children"),
        Input(ids.VIEW, "data"),
        State(ids.RUN, "data"),
    )
    def summary(view: dict[str, Any] | None, stored: dict[str, Any] | None) -> Any:
        run = shelf.get(stored["id"]) if stored else None
        return no_update if run is None or view is None else told(run, View(**view))


def controls(run: Run, view: View) -> tuple[Any, ...]:
    """The values of the controls for a view: find, kinds, options, first, order, fold."""
    names = dict.fromkeys(lane.name for lane in run.lanes.lanes)
    options = [{"label": plain(name), "value": name} for name in names]
    kinds = [kind for kind in _KINDS if kind not in view.without]
    return view.find, kinds, options, list(view.first), view.order, ["fold"] * view.fold


def choice(
    run: Run, view: View, find: str, kinds: list[str], first: list[str], order: str, fold: bool
) -> View:
    """The view with the values of the controls."""
    without = [kind for kind in DRAWN if kind not in kinds]
    return fit(
        run,
        replace(view, find=find.strip(), without=without, first=first, order=order, fold=fold),
    )


def told(run: Run, view: View) -> str:
    """'lanes', or how many of them the choice leaves."""
    left = choose(run.lanes, replace(view, fold=False).choice, view.start, view.end).lanes
    every = len(run.lanes.lanes)
    return "lanes" if len(left) == every else f"lanes: {len(left)} of {every}"
