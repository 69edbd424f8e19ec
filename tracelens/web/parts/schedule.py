"""The schedule: lanes over time, with what moves them."""

from dataclasses import replace
from typing import Any

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component

from tracelens.drawing import intervals, swimlanes
from tracelens.drawing.choice import choose
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.errors import UsageError
from tracelens.numbers import duration, grouped, moment
from tracelens.web import ids, moves, steps, takeaway
from tracelens.web.components import BLANK, MOVABLE, UNSPOKEN, aria, key
from tracelens.web.moves import Chosen, View
from tracelens.web.parts import lanes
from tracelens.web.screen import Screen, sheet_of
from tracelens.web.shelf import Shelf

WHAT = "schedule"

_KEYS = (
    ("← →", "a quarter of the window back or on; or drag"),
    ("+ −", "closer or farther; or turn the wheel at the place"),
    ("Page Up, Page Down", "a whole window back or on"),
    ("Home, End", "to the ends of the run"),
    ("↑ ↓", "other lanes, where not all fit"),
    ("Shift with ← →", "to the previous or next miss or inversion"),
    ("click on a name", "keep that lane on top, or no longer"),
    ("Shift and drag", "measure from here to there"),
    (
        "while measuring",
        "← → to the previous or next edge, ↑ ↓ in one lane or in all, "
        "Enter to keep this end and move the other, Escape to stop",
    ),
)


_PRESSED: dict[str, Any] = {"aria-pressed": "false"}


def component() -> Component:
    """Controls, lanes and the key to them."""
    return html.Section([_controls(), _lanes(), _key()], className="schedule")


def _controls() -> Component:
    return html.Div(
        [
            html.H2("schedule"),
            html.Button("‹ previous", id=ids.PREVIOUS),
            html.Button("next ›", id=ids.NEXT),
            dcc.RadioItems(
                [{"value": kind, "label": plural} for kind, plural in steps.KINDS.items()],
                id=ids.STEP_KIND,
                value="miss",
                className="tabs",
                inline=True,
            ),
            html.Span(id=ids.WHICH, className="quiet", role="status"),
            html.Label("go to", htmlFor=ids.JUMP),
            html.Span(
                [
                    dcc.Input(
                        id=ids.JUMP,
                        type="text",
                        debounce=True,
                        placeholder="8.12 s",
                        autoComplete="off",
                    ),
                    html.Span(id=ids.JUMP_NOTE, className="wrong", role="alert"),
                ],
                className="jump",
            ),
            html.Button("whole run", id=ids.WHOLE),
            html.Button("measure", id=ids.MEASURE, title="Measure between two moments", **_PRESSED),
            lanes.component(),
            _keys(),
            takeaway.buttons(WHAT, ids.SCHEDULE),
        ],
        className="bar",
    )


def _lanes() -> Component:
    return html.Div(
        [
            dcc.Graph(id=ids.SCHEDULE, figure=BLANK, config=MOVABLE, responsive=True),
            html.Div(
                [html.Div(className=part) for part in ("from", "to", "between")],
                className="measured",
                **UNSPOKEN,
            ),
        ],
        className="plot",
        tabIndex="0",
        role="group",
        **aria("Schedule: one lane per interrupt, task, core, lock and queue"),
    )


def _key() -> Component:
    return html.Div(
        [
            *key(),
            html.Div(
                [
                    html.Span(id=ids.MEASURED, role="status"),
                    html.Span(id=ids.LANES_NOTE, className="right"),
                ],
                className="told",
            ),
        ],
        className="key",
    )


def _keys() -> Component:
    return html.Details(
        [
            html.Summary("keys"),
            html.Dl(
                [
                    part
                    for keys, effect in _KEYS
                    for part in (html.Dt(html.Kbd(keys)), html.Dd(effect))
                ],
                className="popover",
            ),
        ],
        className="lanes",
    )


def register(app: Dash, shelf: Shelf) -> None:
    """Move about, and draw where the reader is."""

    @app.callback(
        Output(ids.VIEW, "data", allow_duplicate=True),
        Output(ids.CHOSEN, "data", allow_duplicate=True),
        Input(ids.PREVIOUS, "n_clicks"),
        Input(ids.NEXT, "n_clicks"),
        Input(ids.WHOLE, "n_clicks"),
        State(ids.STEP_KIND, "value"),
        State(ids.VIEW, "data"),
        State(ids.CHOSEN, "data"),
        State(ids.RUN, "data"),
        prevent_initial_call=True,
    )
    def went(
        _previous: int | None,
        _next: int | None,
        _whole: int | None,
        kind: str,
        view: dict[str, Any],
        chosen: Chosen,
        stored: dict[str, Any],
    ) -> Any:
        run = shelf.get(stored["id"])
        if run is None:
            return no_update, no_update
        moved, job = go(run, View(**view), chosen, ctx.triggered_id, kind)
        return moved.stored(), job

    @app.callback(
        Output(ids.VIEW, "data", allow_duplicate=True),
        Output(ids.JUMP_NOTE, "children"),
        Input(ids.JUMP, "value"),
        State(ids.VIEW, "data"),
        State(ids.RUN, "data"),
        prevent_initial_call=True,
    )
    def jumped(text: str | None, view: dict[str, Any], stored: dict[str, Any]) -> tuple[Any, str]:
        run = shelf.get(stored["id"])
        moved, note = jump(run, View(**view), text or "") if run else (None, "")
        return (no_update if moved is None else moved.stored()), note

    @app.callback(
        Output(ids.DRAWING, "data"),
        Output(ids.LANES_NOTE, "children"),
        Input(ids.VIEW, "data"),
        Input(ids.CHOSEN, "data"),
        Input(ids.SCREEN, "data"),
        State(ids.RUN, "data"),
    )
    def schedule(
        view: dict[str, Any] | None, chosen: Chosen, screen: Screen, stored: dict[str, Any] | None
    ) -> Any:
        sheet = sheet_of(screen, ids.SCHEDULE)
        run = shelf.get(stored["id"]) if stored else None
        if view is None or sheet is None or run is None:
            return no_update
        return draw(run, View(**view), chosen, sheet)

    @app.callback(
        Output(ids.WHICH, "children"),
        Input(ids.VIEW, "data"),
        Input(ids.CHOSEN, "data"),
        Input(ids.STEP_KIND, "value"),
        State(ids.RUN, "data"),
    )
    def which(
        view: dict[str, Any] | None, chosen: Chosen, kind: str, stored: dict[str, Any] | None
    ) -> Any:
        run = shelf.get(stored["id"]) if stored else None
        return steps.which(run, View(**view), chosen, kind) if run and view else no_update

    @app.callback(
        Output(ids.csv_file(WHAT), "data"),
        Output(ids.csv_note(WHAT), "children"),
        Input(ids.csv(WHAT), "n_clicks"),
        State(ids.VIEW, "data"),
        State(ids.RUN, "data"),
        prevent_initial_call=True,
    )
    def taken(_clicks: int | None, view: dict[str, Any], stored: dict[str, Any]) -> Any:
        run = shelf.get(stored["id"])
        return take(run, View(**view)) if run else (no_update, "")


def take(run: Run, view: View) -> tuple[Any, str]:
    """The intervals in the window as a download, or why there are too many."""
    shown = choose(run.lanes, view.choice, view.start, view.end).lanes
    rows = intervals.count(run, shown, view.start, view.end)
    if rows > intervals.MOST_ROWS:
        return no_update, (
            f"{grouped(rows)} intervals in this window, more than {grouped(intervals.MOST_ROWS)}: "
            "zoom in, or use tracelens report --tables"
        )
    listed = intervals.intervals(run, shown, view.start, view.end)
    return takeaway.table(listed, run, WHAT, view), ""


def go(
    run: Run, view: View, chosen: Chosen, pressed: str, kind: str = "miss"
) -> tuple[View, Chosen]:
    """Where the button `pressed` leads; `kind` is the kind of place to step through."""
    if pressed == ids.WHOLE:
        return moves.fit(run, replace(view, start=0, end=run.span_ns)), chosen
    return steps.step(run, view, chosen, kind, +1 if pressed == ids.NEXT else -1)


def jump(run: Run, view: View, text: str) -> tuple[View | None, str]:
    """The view around a typed time, or None and what is wrong with the text."""
    if not text.strip():
        return None, ""
    try:
        at = moves.typed(text)
    except UsageError as error:
        return None, str(error)
    if at > run.span_ns:
        return None, f"the run ends at {moment(run.span_ns)}"
    return moves.to_instant(run, view, at), ""


def draw(run: Run, view: View, chosen: Chosen, sheet: Sheet) -> tuple[dict[str, Any], str]:
    """The schedule, and which part of the run and which lanes it shows."""
    figure, shown = swimlanes.schedule(
        run, view.start, view.end, sheet, view.top, chosen, view.choice
    )
    note = [f"{duration(view.end - view.start)} from {moment(view.start)}"]
    if len(shown.places) < shown.total:
        note.insert(0, f"lanes {shown.first + 1}–{shown.first + len(shown.places)}")
        note[0] += f" of {shown.total}"
    return figure | {"top": shown.first}, " · ".join(note)
