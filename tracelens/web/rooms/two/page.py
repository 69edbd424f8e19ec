"""The room 'two runs': one window over both, counted from a moment of each.

Runs, window and alignment are in the address; nothing is kept on the server but the runs.
"""

from typing import Any
from urllib.parse import parse_qs, urlencode

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component

from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.drawing.two_runs import Matched, height, match, one_side
from tracelens.errors import UsageError
from tracelens.findings.wording import duration, listing
from tracelens.plain import plain
from tracelens.web.components import MOVABLE, aria
from tracelens.web.loading import find
from tracelens.web.rooms.nav import OPEN, TWO, nav
from tracelens.web.rooms.two import ids
from tracelens.web.rooms.two.aligned import (
    KINDS,
    Alignment,
    marks_of_both,
    moments,
    tasks_of_both,
)
from tracelens.web.rooms.two.differs import differences
from tracelens.web.shelf import SAMPLE, Shelf

LEAST_NS = 2000
_TYPED = {ids.TASK: "task", ids.JOB_A: "job_a", ids.JOB_B: "job_b", ids.MARK: "mark"}
_ALIGNED = (ids.ALIGN, *_TYPED)

Pair = dict[str, str]
"""As the page stores it: `a` and `b`, the ids of the runs."""


def component() -> Component:
    """The whole room."""
    return html.Main(
        [
            dcc.Location(id=ids.ADDRESS, refresh=False),
            dcc.Store(id=ids.PAIR),
            dcc.Store(id=ids.VIEW),
            dcc.Store(id=ids.MOMENTS),
            dcc.Store(id=ids.SCREEN),
            html.Header([html.H1("two runs"), nav(TWO)]),
            html.Div(id=ids.MISSING),
            html.Section(
                [
                    html.P(id=ids.VERDICT, role="status"),
                    _controls(),
                    *(_side(side) for side in "ab"),
                    html.P(id=ids.ONLY),
                ],
                id=ids.RESULTS,
                className="results",
                **aria("Schedules of both runs"),
            ),
            html.Section(id=ids.DIFFERS, **aria("What differs")),
        ],
        className="room two",
    )


def _controls() -> Component:
    return html.Div(
        [
            html.Div(
                [
                    html.Span("count from", className="quiet"),
                    dcc.RadioItems(
                        [
                            {"value": "begin", "label": "the begin of each run"},
                            {"value": "job", "label": "a job"},
                            {"value": "mark", "label": "a mark"},
                        ],
                        id=ids.ALIGN,
                        value=KINDS[0],
                        inline=True,
                    ),
                ],
                role="group",
                className="choices",
                **aria("Count from"),
            ),
            html.Div(
                [
                    _typed("of task", ids.TASK, ids.TASKS),
                    _typed("number in the first", ids.JOB_A),
                    _typed("in the second", ids.JOB_B),
                ],
                id=ids.JOB_BOX,
                className="choices",
                hidden=True,
            ),
            html.Div([_typed("word", ids.MARK, ids.MARKS)], id=ids.MARK_BOX, hidden=True),
            html.Span(id=ids.ALIGN_WRONG, className="mistake", role="alert"),
            html.Span(
                [
                    html.Button("←", id=ids.EARLIER, title="earlier: the key ←", **aria("earlier")),
                    html.Button("→", id=ids.LATER, title="later: the key →", **aria("later")),
                    html.Button("+", id=ids.CLOSER, title="closer: the key +", **aria("closer")),
                    html.Button("−", id=ids.WIDER, title="wider: the key −", **aria("wider")),
                    html.Button("both whole", id=ids.WHOLE),
                ],
                className="right choices",
            ),
        ],
        className="bar",
    )


def _typed(name: str, field: str, known: str | None = None) -> Component:
    # The attribute `list` of an input names its proposals.
    typed = dcc.Input(
        id=field, type="text", debounce=True, maxLength=200, autoComplete="off", list=known
    )
    parts: list[Component] = [html.Span(name, className="quiet"), typed]
    return html.Label([*parts, html.Datalist(id=known)] if known else parts)


def _side(side: str) -> Component:
    name, graph = (ids.NAME_A, ids.SCHEDULE_A) if side == "a" else (ids.NAME_B, ids.SCHEDULE_B)
    return html.Div(
        [
            html.Div(id=name, className="bar"),
            html.Div(
                dcc.Graph(id=graph, config=MOVABLE, responsive=True),
                className="drawn",
                tabIndex="0",
                role="group",
                **aria(f"Schedule of the {'first' if side == 'a' else 'second'} run"),
            ),
        ],
        className="side",
    )


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
        tall = height(matched)
        width = min(max(int(screen["width"]), 300), 4000)
        sheet = Sheet(width, tall, "dark" if screen["scheme"] == "dark" else "light")
        window = (int(view["start"]), int(view["end"]))
        style = {"height": f"{tall}px"}
        return (
            one_side(runs[0], matched.a, window, int(at["a"]), sheet),
            one_side(runs[1], matched.b, window, int(at["b"]), sheet),
            style,
            style,
            only(matched),
        )

    @app.callback(
        Output(ids.VERDICT, "children"),
        Output(ids.DIFFERS, "children"),
        Input(ids.PAIR, "data"),
        prevent_initial_call=True,
    )
    def differs(pair: Pair | None) -> Any:
        runs = both(shelf, pair)
        return differences(*runs) if runs else (None, None)

    _in_the_browser(app)


def _in_the_browser(app: Dash) -> None:
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
    return {"start": start, "end": min(max(end, start + LEAST_NS), start + 2 * most + LEAST_NS)}


def missing(a: Run | None, b: Run | None, pair: Pair) -> list[Component]:
    """What to do where a run is wanted: open its log, or see how it looks with samples."""
    told = []
    for side, run, name in (("a", a, "first"), ("b", b, "second")):
        other = pair["b" if side == "a" else "a"]
        query = urlencode({"side": side, "other": other} if other else {"side": side})
        if run is None:
            gone = f"The {name} run is not here any more. " if pair[side] else ""
            what = f"{gone}Open the log of the {name} run"
            told.append(html.P(html.A(what, href=f"{OPEN}?{query}")))
        else:
            told.append(html.P([f"{name.capitalize()} run: ", html.B(plain(run.name))]))
    names = {"a": f"{SAMPLE}knitting_inversion", "b": f"{SAMPLE}knitting_mended"}
    told.append(
        html.P(
            [
                "Two runs stand one under the other on one scale: before and after a repair, say. ",
                html.A("Two samples show it", href=f"{TWO}?{urlencode(names)}"),
                ".",
            ],
            className="quiet",
        )
    )
    return [html.Section(told, className="missing")]


def head(which: str, run: Run, side: str, pair: Pair) -> list[Component]:
    """Name and length of one run, and the way to another."""
    other = pair["b" if side == "a" else "a"]
    return [
        html.H2(f"{which}: {plain(run.name)}"),
        html.Span(duration(run.span_ns), className="quiet"),
        html.A("alone", href=f"/?{urlencode({'run': pair[side]})}"),
        html.A("another log", href=f"{OPEN}?{urlencode({'side': side, 'other': other})}"),
    ]


def only(matched: Matched) -> str:
    """Lanes that one run alone has, in a sentence; '' if there are none."""
    told = [
        f"Only the {which} run has {listing([plain(name[:60]) for name in names])}."
        for which, names in (("first", matched.only_a), ("second", matched.only_b))
        if names
    ]
    if not matched.a:
        told.insert(0, "The runs have no task, handler, core, lock or queue of one name.")
    return " ".join(told)
