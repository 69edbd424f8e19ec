"""The panels under the schedule, one at a time."""

from typing import Any

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component

from tracelens.drawing import figures
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.plain import plain
from tracelens.web import ids, moves
from tracelens.web.components import BLANK, FIGURE, aria
from tracelens.web.moves import Chosen, View
from tracelens.web.screen import Screen, sheet_of
from tracelens.web.shelf import Shelf

PANELS = (("load", "load"), ("responses", "response times"))
"""(value, label) of each panel; they are shown one at a time."""


def component() -> Component:
    """The choice of a panel, and the panel."""
    return html.Section(
        [
            html.Div(
                [
                    dcc.RadioItems(
                        [{"value": value, "label": label} for value, label in PANELS],
                        id=ids.PANELS,
                        value=PANELS[1][0],
                        className="tabs",
                        inline=True,
                    ),
                    html.Div(
                        dcc.Dropdown([], id=ids.PANEL_TASK, clearable=False),
                        id=ids.TASK_CHOOSER,
                        className="chooser",
                        **aria("Task"),
                    ),
                ],
                className="bar",
            ),
            html.Div(
                [
                    dcc.Graph(id=ids.PANEL_FIGURE, config=FIGURE, responsive=True),
                    html.P(id=ids.PANEL_EMPTY, className="empty"),
                ],
                className="plot",
            ),
        ],
        className="panel",
        **aria("Panels"),
    )


def register(app: Dash, shelf: Shelf) -> None:
    """Fill the panel, follow the chosen job, and lead to the job that is clicked."""

    @app.callback(
        Output(ids.PANEL_FIGURE, "figure"),
        Output(ids.PANEL_EMPTY, "children"),
        Output(ids.TASK_CHOOSER, "hidden"),
        Input(ids.PANELS, "value"),
        Input(ids.PANEL_TASK, "value"),
        Input(ids.VIEW, "data"),
        Input(ids.CHOSEN, "data"),
        Input(ids.SCREEN, "data"),
        State(ids.RUN, "data"),
    )
    def panel(
        which: str,
        task: str | None,
        view: dict[str, int] | None,
        chosen: Chosen,
        screen: Screen,
        stored: dict[str, Any] | None,
    ) -> Any:
        sheet = sheet_of(screen, ids.PANEL_FIGURE)
        run = shelf.get(stored["id"]) if stored else None
        only_moved = set(ctx.triggered_prop_ids) == {f"{ids.VIEW}.data"} and which != "load"
        if view is None or sheet is None or run is None or only_moved:
            return no_update
        figure, missing = fill_panel(run, which, task, View(**view), chosen, sheet)
        return figure or BLANK, missing, which != "responses"

    @app.callback(
        Output(ids.PANEL_TASK, "options"),
        Output(ids.PANEL_TASK, "searchable"),
        Output(ids.PANEL_TASK, "value"),
        Input(ids.CHOSEN, "data"),
        Input(ids.RUN, "data"),
        State(ids.PANEL_TASK, "value"),
        prevent_initial_call=True,
    )
    def tasks(chosen: Chosen, stored: dict[str, Any] | None, task: str | None) -> Any:
        run = shelf.get(stored["id"]) if stored else None
        if run is None:
            return no_update, no_update, no_update
        job = None if chosen is None else run.job(chosen)
        names = [lane.name for lane in run.lanes.of("task") if not lane.idle]
        kept = task if task in names else next(iter(names), None)
        options = [{"label": plain(name), "value": name} for name in names]
        return options, len(names) > 12, job["task"] if job else kept

    @app.callback(
        Output(ids.VIEW, "data", allow_duplicate=True),
        Output(ids.CHOSEN, "data", allow_duplicate=True),
        Input(ids.PANEL_FIGURE, "clickData"),
        State(ids.VIEW, "data"),
        State(ids.RUN, "data"),
        prevent_initial_call=True,
    )
    def went(clicked: dict[str, Any] | None, view: dict[str, int], stored: dict[str, Any]) -> Any:
        run = shelf.get(stored["id"])
        moved = to_clicked(run, View(**view), clicked) if run and clicked else None
        return (no_update, no_update) if moved is None else (moved[0].stored(), moved[1])


def to_clicked(run: Run, view: View, clicked: dict[str, Any]) -> tuple[View, Chosen] | None:
    """Where a click into the panel leads; None if what was clicked is no job."""
    point = clicked["points"][0]
    return moves.to_job(run, view, int(point["customdata"])) if "customdata" in point else None


def fill_panel(
    run: Run, which: str, task: str | None, view: View, chosen: Chosen, sheet: Sheet
) -> figures.Shown:
    """The figure of one panel."""
    if which == "responses":
        return figures.response_times(run, task, sheet, chosen)
    return figures.load_over_time(run, view.start, view.end, sheet)
