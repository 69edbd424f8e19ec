"""The room 'two runs': one window over both, counted from a moment of each.

Runs, window and alignment are in the address; nothing is kept on the server but the runs.
"""

from typing import Any
from urllib.parse import parse_qs

from dash import ClientsideFunction, Dash, Input, Output, State, html, no_update

from tracelens.drawing.moved import Moved
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.drawing.two_runs import Matched, height, match, one_side
from tracelens.errors import UsageError
from tracelens.plain import plain
from tracelens.web.loading import find
from tracelens.web.moves import LEAST_WIDTH_NS
from tracelens.web.rooms.two import ids
from tracelens.web.rooms.two.aligned import (
    KINDS,
    Alignment,
    marks_of_both,
    moments,
    tasks_of_both,
)
from tracelens.web.rooms.two.differs import differences
from tracelens.web.rooms.two.layout import Pair, head, missing, only
from tracelens.web.shelf import Shelf

_TYPED = {ids.TASK: "task", ids.JOB_A: "job_a", ids.JOB_B: "job_b", ids.MARK: "mark"}
_ALIGNED = (ids.ALIGN, *_TYPED)


def register(app: Dash, shelf: Shelf) -> None:
    """Open both runs, align them, draw them."""

    @app.callback(
        Output(ids.PAIR, "data"),
        Output(ids.VIEW, "data", allow_duplicate=True),
        *(Output(field, "value") for field in _ALIGNED),
        Output(ids.NAME_A, "children"),
        Output(ids.NAME_B, "children"),
        Output(ids.MISSING, "children"),
        Output(ids.RESULTS, "hidden"),
        Output(ids.TASKS, "children"),
        Output(ids.MARKS, "children"),
        Input(ids.ADDRESS, "search"),
        prevent_initial_call="initial_duplicate",
    )
    def opened(search: str | None) -> Any:
        query = {k: v[0] for k, v in parse_qs((search or "").removeprefix("?")).items()}
        query.setdefault("a", shelf.first() or "")
        pair = {side: shelf.newest(query.get(side, "")[:200]) for side in "ab"}
        a, b = find(shelf, pair["a"]), find(shelf, pair["b"])
        if a is None or b is None:
            quiet = (no_update,) * (len(_ALIGNED) + 2)
            return no_update, *quiet, None, missing(a, b, pair), True, None, None
        asked = alignment(query)
        fields = [asked.kind, *(getattr(asked, word) for word in _TYPED.values())]
        return (
            {**pair, "name": f"{plain(a.name)} and {plain(b.name)}"},
            view_of(query, a, b),
            *fields,
            head("first", a, "a", pair),
            head("second", b, "b", pair),
            None,
            False,
            [html.Option(value=plain(task)) for task in tasks_of_both(a, b)],
            [html.Option(value=plain(mark)) for mark in marks_of_both(a, b)],
        )

    @app.callback(
        Output(ids.MOMENTS, "data"),
        Output(ids.ALIGN_WRONG, "children"),
        Output(ids.JOB_BOX, "hidden"),
        Output(ids.MARK_BOX, "hidden"),
        Input(ids.PAIR, "data"),
        *(Input(field, "value") for field in _ALIGNED),
        State(ids.MOMENTS, "data"),
        prevent_initial_call=True,
    )
    def aligned(pair: Pair | None, *typed: Any) -> Any:
        *values, before = typed
        asked = Alignment(*(str(value or "").strip() for value in values))
        hidden = asked.kind != "job", asked.kind != "mark"
        runs = both(shelf, pair)
        if runs is None or pair is None:
            return no_update, "", *hidden
        told, wrong = {"a": 0, "b": 0}, ""
        try:
            told["a"], told["b"] = moments(*runs, asked)
        except UsageError as error:
            wrong = error.problem
            if before:
                told = {"a": before["a"], "b": before["b"]}
        spans = {"span_a": runs[0].span_ns, "span_b": runs[1].span_ns}
        asks = {"at": asked.kind} | {word: getattr(asked, word) for word in _TYPED.values()}
        return told | spans | {"asked": asks}, wrong, *hidden

    @app.callback(
        Output(ids.SCHEDULE_A, "figure"),
        Output(ids.SCHEDULE_B, "figure"),
        Output(ids.SCHEDULE_A, "style"),
        Output(ids.SCHEDULE_B, "style"),
        Output(ids.ONLY, "children"),
        Input(ids.VIEW, "data"),
        Input(ids.MOMENTS, "data"),
        Input(ids.SCREEN, "data"),
        State(ids.PAIR, "data"),
        prevent_initial_call=True,
    )
    def drawn(view: Any, at: Any, screen: Any, pair: Pair | None) -> Any:
        runs = both(shelf, pair)
        if pair and runs is None:
            gone = "One of these runs is not here any more. Load the page again to open its log."
            return *(no_update,) * 4, gone
        if not (view and at and screen and runs):
            return no_update
        matched = match(*runs)
        return *drawings(runs, matched, view, at, screen), only(matched)

    @app.callback(
        Output(ids.VERDICT, "children"),
        Output(ids.DIFFERS, "children"),
        Input(ids.PAIR, "data"),
        prevent_initial_call=True,
    )
    def differs(pair: Pair | None) -> Any:
        runs = both(shelf, pair)
        return differences(*runs) if runs else (None, None)

    in_the_browser(app)


def in_the_browser(app: Dash) -> None:
    """The window of both schedules is moved, and written into the address, by the browser."""
    app.clientside_callback(
        ClientsideFunction("two", "moved"),
        Output(ids.VIEW, "data"),
        Input(ids.SCHEDULE_A, "relayoutData"),
        Input(ids.SCHEDULE_B, "relayoutData"),
        *(Input(b, "n_clicks") for b in (ids.EARLIER, ids.LATER, ids.CLOSER, ids.WIDER, ids.WHOLE)),
        State(ids.VIEW, "data"),
        State(ids.MOMENTS, "data"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("two", "placed"),
        Output(ids.RESULTS, "lang"),
        Input(ids.VIEW, "data"),
        Input(ids.MOMENTS, "data"),
        State(ids.PAIR, "data"),
        prevent_initial_call=True,
    )


def drawings(
    runs: tuple[Run, Run],
    matched: Matched,
    view: Any,
    at: Any,
    screen: Any,
    moved: tuple[Moved | None, Moved | None] = (None, None),
) -> tuple[Any, Any, Any, Any]:
    """Both schedules over a window, and the height of each as a style."""
    tall = height(matched)
    width = min(max(int(screen["width"]), 300), 4000)
    sheet = Sheet(width, tall, "dark" if screen["scheme"] == "dark" else "light")
    window = (int(view["start"]), int(view["end"]))
    style = {"height": f"{tall}px"}
    return (
        one_side(runs[0], matched.a, window, int(at["a"]), sheet, moved[0]),
        one_side(runs[1], matched.b, window, int(at["b"]), sheet, moved[1]),
        style,
        style,
    )


def both(shelf: Shelf, pair: Pair | None) -> tuple[Run, Run] | None:
    """The two runs; None if one is not there any more."""
    a, b = (shelf.get(shelf.newest(pair[side])) if pair else None for side in "ab")
    return (a, b) if a and b else None


def alignment(query: dict[str, str]) -> Alignment:
    """What the address asks for."""
    kind = query.get("at", "")
    known = {word: query.get(word, "")[:200] for word in _TYPED.values()}
    return Alignment(kind if kind in KINDS else KINDS[0], **known)


def view_of(query: dict[str, str], a: Run, b: Run) -> dict[str, int]:
    """The window of the address, in ns from the moment of each run; else all of both."""
    most = max(a.span_ns, b.span_ns)
    try:
        start, end = int(query["from"][:20]), int(query["to"][:20])
    except (KeyError, ValueError):
        start, end = 0, most
    start = min(max(start, -most), most)
    end = min(max(end, start + LEAST_WIDTH_NS), start + 2 * most + LEAST_WIDTH_NS)
    return {"start": start, "end": end}
