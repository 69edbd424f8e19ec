"""The place under the schedule that shows one panel at a time: its tabs, its choices, its content.

What is shown is told by the address: `panel`, `of` (the thing that it is about) and `windows`.
"""

from typing import Any, Final

from dash import ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component

from tracelens.web import ids, moves, takeaway
from tracelens.web.components import BLANK, FIGURE, aria, in_words
from tracelens.web.moves import Chosen, View
from tracelens.web.panels.panel import Panel
from tracelens.web.panels.registry import PANELS, panel_of
from tracelens.web.parts.panel_content import (
    WINDOWS,
    asked_of,
    draw,
    listed,
    offer,
    order_of,
    query,
    take,
    to_clicked,
)
from tracelens.web.screen import Screen, sheet_of
from tracelens.web.shelf import Shelf

WHAT: Final = "panel"
TABLE: Final = "panel-table"
"""What is taken away: what the figure draws, and the table beside it."""

_PRESSED: Final[dict[str, Any]] = {"aria-pressed": "false"}


def component() -> Component:
    """Tabs, choices and content; what depends on the run comes with it."""
    return html.Section(
        [
            _bar(),
            html.Div(
                [
                    html.Div(
                        [
                            dcc.Graph(
                                id=ids.PANEL_FIGURE, figure=BLANK, config=FIGURE, responsive=True
                            ),
                            html.P(id=ids.PANEL_EMPTY, className="empty"),
                        ],
                        className="plot",
                    ),
                    html.Div(id=ids.PANEL_TABLE, className="grid"),
                ],
                id=ids.PANEL_BODY,
                className="body both",
            ),
            dcc.Store(id=ids.PANEL_PLACE),
            dcc.Store(id=ids.PANEL_ORDER),
        ],
        className="panel",
        **aria("Panels"),
    )


def _bar() -> Component:
    return html.Div(
        [
            dcc.RadioItems(
                [{"value": panel.value, "label": panel.label} for panel in PANELS],
                id=ids.PANELS,
                value=PANELS[0].value,
                className="tabs",
                inline=True,
            ),
            html.Div(
                dcc.Dropdown([], id=ids.PANEL_OF, clearable=False),
                id=ids.OF_CHOOSER,
                className="chooser",
                hidden=True,
                role="group",
                **aria("What the panel is about"),
            ),
            html.Div(
                dcc.Dropdown(
                    [{"value": value, "label": label} for value, label in WINDOWS.items()],
                    id=ids.PANEL_WINDOWS,
                    value="",
                    clearable=False,
                    searchable=False,
                ),
                id=ids.WINDOWS_CHOOSER,
                className="chooser windows",
                hidden=True,
                role="group",
                **aria("Length of the windows"),
            ),
            takeaway.buttons(WHAT, ids.PANEL_FIGURE),
            takeaway.table_button(TABLE, "table"),
            html.Button("enlarge", id=ids.ENLARGE, **_PRESSED),
        ],
        className="bar",
    )


def register(app: Dash, shelf: Shelf) -> None:
    """Fill the panel, follow window and chosen job, and lead to the place that is clicked."""

    @app.callback(
        Output(ids.PANELS, "value"),
        Output(ids.PANEL_WINDOWS, "value"),
        Input(ids.ADDRESS, "search"),
    )
    def opened(search: str | None) -> Any:
        told = query(search)
        windows = told.get("windows", "")
        return panel_of(told.get("panel")).value, windows if windows in WINDOWS else ""

    @app.callback(
        Output(ids.PANEL_OF, "options"),
        Output(ids.PANEL_OF, "searchable"),
        Output(ids.PANEL_OF, "value"),
        Output(ids.OF_CHOOSER, "hidden"),
        Output(ids.OF_CHOOSER, "title"),
        Output(ids.WINDOWS_CHOOSER, "hidden"),
        Input(ids.CHOSEN, "data"),
        Input(ids.RUN, "data"),
        Input(ids.PANELS, "value"),
        State(ids.PANEL_OF, "value"),
        State(ids.ADDRESS, "search"),
        prevent_initial_call=True,
    )
    def choices(
        chosen: Chosen,
        stored: dict[str, Any] | None,
        which: str,
        of: str | None,
        search: str | None,
    ) -> Any:
        run = shelf.get(stored["id"]) if stored else None
        if run is None:
            return (no_update,) * 6
        # Only another job takes the choice along: not a run that grows, and not the address, whose
        # own choice goes before that of the job in it.
        newly = set(ctx.triggered_prop_ids) == {f"{ids.CHOSEN}.data"}
        before = of if of is not None else query(search).get("of")
        options, searchable, value, *rest = offer(
            run, which, chosen if newly else None, before, chosen
        )
        # What is shown already need not be made anew, and a long list not be sent again.
        kept = no_update if value == of else value
        if newly:
            return no_update, no_update, kept, *(no_update for _ in rest)
        return options, searchable, kept, *rest

    @app.callback(
        Output(ids.PANEL_FIGURE, "figure"),
        Output(ids.PANEL_EMPTY, "children"),
        Output(ids.PANEL_BODY, "className"),
        Input(ids.PANELS, "value"),
        Input(ids.PANEL_OF, "value"),
        Input(ids.PANEL_WINDOWS, "value"),
        Input(ids.VIEW, "data"),
        Input(ids.CHOSEN, "data"),
        Input(ids.SCREEN, "data"),
        Input(ids.RUN, "data"),
    )
    def drawn(
        which: str,
        of: str | None,
        windows: str | None,
        view: dict[str, Any] | None,
        chosen: Chosen,
        screen: Screen,
        stored: dict[str, Any] | None,
    ) -> Any:
        sheet = sheet_of(screen, ids.PANEL_FIGURE)
        run = shelf.get(stored["id"]) if stored else None
        panel = panel_of(which)
        if view is None or sheet is None or run is None or not _concerned(panel):
            return (no_update,) * 3
        asked = asked_of(run, panel, View(**view), chosen, of, windows)
        figure, said, arranged = draw(run, panel, asked, sheet)
        return figure, in_words(said), arranged

    @app.callback(
        Output(ids.PANEL_TABLE, "children"),
        Input(ids.PANELS, "value"),
        Input(ids.PANEL_OF, "value"),
        Input(ids.PANEL_ORDER, "data"),
        Input(ids.RUN, "data"),
    )
    def filled(
        which: str,
        of: str | None,
        order: dict[str, Any] | None,
        stored: dict[str, Any] | None,
    ) -> Any:
        run = shelf.get(stored["id"]) if stored else None
        panel = panel_of(which)
        return no_update if run is None else listed(run, panel, of, order_of(panel, order))

    @app.callback(
        Output(ids.VIEW, "data", allow_duplicate=True),
        Output(ids.CHOSEN, "data", allow_duplicate=True),
        Input(ids.PANEL_FIGURE, "clickData"),
        Input(ids.PANEL_PLACE, "data"),
        State(ids.PANELS, "value"),
        State(ids.VIEW, "data"),
        State(ids.CHOSEN, "data"),
        State(ids.RUN, "data"),
        prevent_initial_call=True,
    )
    def went(
        clicked: dict[str, Any] | None,
        place: dict[str, Any] | None,
        which: str,
        view: dict[str, Any],
        chosen: Chosen,
        stored: dict[str, Any],
    ) -> Any:
        run = shelf.get(stored["id"])
        moved = None
        if run and ctx.triggered_id == ids.PANEL_PLACE and place:
            moved = moves.to_place(run, View(**view), str(place["place"]))
        elif run and clicked:
            moved = to_clicked(run, panel_of(which), View(**view), chosen, clicked)
        return (no_update, no_update) if moved is None else (moved[0].stored(), moved[1])

    app.clientside_callback(
        ClientsideFunction("panels", "shown"),
        Output(ids.PANEL_TABLE, "className"),
        Input(ids.PANEL_TABLE, "children"),
    )
    app.clientside_callback(
        ClientsideFunction("panels", "remembered"),
        Output(ids.PANELS, "className"),
        Input(ids.PANELS, "value"),
        Input(ids.PANEL_OF, "value"),
        Input(ids.PANEL_WINDOWS, "value"),
        prevent_initial_call=True,
    )
    _take(app, shelf)


def _take(app: Dash, shelf: Shelf) -> None:
    """Send a table: what the figure draws, or, of the panels that have one, the whole table."""
    for what in (WHAT, TABLE):

        @app.callback(
            Output(ids.csv_file(what), "data"),
            Output(ids.csv_note(what), "children"),
            Input(ids.csv(what), "n_clicks"),
            State(ids.PANELS, "value"),
            State(ids.PANEL_OF, "value"),
            State(ids.PANEL_WINDOWS, "value"),
            State(ids.VIEW, "data"),
            State(ids.CHOSEN, "data"),
            State(ids.RUN, "data"),
            prevent_initial_call=True,
        )
        def taken(
            _clicks: int | None,
            which: str,
            of: str | None,
            windows: str | None,
            view: dict[str, Any],
            chosen: Chosen,
            stored: dict[str, Any],
            what: str = what,
        ) -> Any:
            run = shelf.get(stored["id"])
            if run is None:
                return no_update, ""
            panel = panel_of(which)
            asked = asked_of(run, panel, View(**view), chosen, of, windows)
            return take(run, panel, asked, drawn=what == WHAT)


def _concerned(panel: Panel) -> bool:
    """Whether what has just changed is something that the panel follows."""
    changed = set(ctx.triggered_prop_ids)
    ignored = {
        f"{component_id}.data"
        for component_id, what in ((ids.VIEW, "view"), (ids.CHOSEN, "chosen"))
        if what not in panel.follows
    }
    return not changed or bool(changed - ignored)
