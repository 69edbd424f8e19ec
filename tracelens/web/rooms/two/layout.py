"""What the room 'two runs' is made of: controls, both schedules, and what stands over each."""

from urllib.parse import urlencode

from dash import dcc, html
from dash.development.base_component import Component

from tracelens.drawing.runs import Run
from tracelens.drawing.two_runs import Matched
from tracelens.numbers import duration, listing
from tracelens.plain import plain
from tracelens.web.components import BLANK, MOVABLE, aria, key
from tracelens.web.panels.panel import short
from tracelens.web.rooms.nav import OPEN, ROOMS, TWO, Rooms, nav
from tracelens.web.rooms.two import ids
from tracelens.web.rooms.two.aligned import KINDS
from tracelens.web.shelf import SAMPLE

Pair = dict[str, str]
"""As the page stores it: `a` and `b`, the ids of the runs."""


def component(rooms: Rooms = ROOMS) -> Component:
    """The whole room."""
    return html.Main(
        [
            dcc.Location(id=ids.ADDRESS, refresh=False),
            dcc.Store(id=ids.PAIR),
            dcc.Store(id=ids.VIEW),
            dcc.Store(id=ids.MOMENTS),
            dcc.Store(id=ids.SCREEN),
            html.Header([html.H1("two runs"), nav(TWO, rooms=rooms)]),
            html.Div(id=ids.MISSING),
            html.Section(
                [
                    html.P(id=ids.VERDICT, role="status"),
                    _controls(),
                    html.Div(key(), className="key"),
                    *(side(which) for which in "ab"),
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
                            {"value": "begin", "label": "the start of each run"},
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
            moving("both whole"),
        ],
        className="bar",
    )


def moving(whole: str) -> Component:
    """The buttons that move the window of both schedules."""
    return html.Span(
        [
            html.Button("←", id=ids.EARLIER, title="earlier: the key ←", **aria("earlier")),
            html.Button("→", id=ids.LATER, title="later: the key →", **aria("later")),
            html.Button("+", id=ids.CLOSER, title="closer: the key +", **aria("closer")),
            html.Button("−", id=ids.WIDER, title="wider: the key −", **aria("wider")),
            html.Button(whole, id=ids.WHOLE),
        ],
        className="right choices",
    )


def _typed(name: str, field: str, known: str | None = None) -> Component:
    # The attribute `list` of an input names its proposals.
    typed = dcc.Input(
        id=field, type="text", debounce=True, maxLength=200, autoComplete="off", list=known
    )
    parts: list[Component] = [html.Span(name, className="quiet"), typed]
    return html.Label([*parts, html.Datalist(id=known)] if known else parts)


def side(which: str, called: str = "") -> Component:
    """One schedule, 'a' or 'b', under the line that names its run; `called` for screen readers."""
    name, graph = (ids.NAME_A, ids.SCHEDULE_A) if which == "a" else (ids.NAME_B, ids.SCHEDULE_B)
    called = called or f"{'first' if which == 'a' else 'second'} run"
    return html.Div(
        [
            html.Div(id=name, className="bar"),
            html.Div(
                dcc.Graph(id=graph, figure=BLANK, config=MOVABLE, responsive=True),
                className="drawn",
                tabIndex="0",
                role="group",
                **aria(f"Schedule of the {called}"),
            ),
        ],
        className="side",
    )


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
        f"Only the {which} run has {listing([short(name) for name in names])}."
        for which, names in (("first", matched.only_a), ("second", matched.only_b))
        if names
    ]
    if not matched.a:
        told.insert(0, "The runs have no task, handler, core, lock or queue of one name.")
    return " ".join(told)
