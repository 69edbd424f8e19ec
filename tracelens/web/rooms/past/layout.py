"""What the room of a history is made of. Whatever is chosen is a link: the address has it all."""

from typing import Any, Final

from dash import dcc, html
from dash.development.base_component import Component

from tracelens.errors import InputError
from tracelens.findings.wording import OBSERVED, SAFETY
from tracelens.history import wording
from tracelens.history.trends import RATE
from tracelens.plain import plain
from tracelens.web.components import FIGURE, aria, sentence
from tracelens.web.rooms.nav import HISTORY, Rooms, nav
from tracelens.web.rooms.past import ids
from tracelens.web.rooms.past.asked import Asked
from tracelens.web.rooms.past.folder import Folder, Look
from tracelens.web.rooms.past.tables import short
from tracelens.web.takeaway import buttons

EVERY_MS: Final = 5000
"""So often it is asked whether runs were added."""

MOST_VALUES: Final = 12
"""A key of `#run` with more values, or another in each run, tells runs apart: no filter."""

NEWEST: Final = (10, 20, 50, 100, 200, 500)
"""So many of the newest runs are offered to be looked at alone."""

_LEVELS: Final = f"before, after: medians. A p of at most {RATE / 2:g} counts."

WHAT: Final = "course"
"""The figure and its table, in the names of files."""


def component(folder: Folder, rooms: Rooms) -> Component:
    """The whole room; what stands in it comes when its address is known."""
    told = (*wording.judged(RATE), wording.INDEPENDENT, OBSERVED, SAFETY)
    return html.Main(
        [
            dcc.Location(id=ids.ADDRESS, refresh=False),
            dcc.Store(id=ids.STAMP, data=folder.stamp()),
            dcc.Interval(id=ids.CLOCK, interval=EVERY_MS),
            dcc.Store(id=ids.SCREEN),
            html.Header([html.H1(f"history: {plain(folder.name)}"), nav(HISTORY, rooms=rooms)]),
            html.Div(id=ids.MISSING),
            html.Div(
                [
                    html.P(id=ids.VERDICT, role="status"),
                    html.Div(id=ids.FILTERS, role="group", **aria("Only runs with")),
                    html.Div(
                        [
                            html.Section(
                                [
                                    html.Div(id=ids.MEASURES, className="list"),
                                    html.P(_LEVELS, className="quiet"),
                                ],
                                **aria("Measures, surest change first"),
                            ),
                            html.Section(
                                [
                                    html.P(id=ids.SAID, role="status"),
                                    html.Div(
                                        [html.Span(id=ids.OVER), buttons(WHAT, ids.FIGURE)],
                                        className="bar",
                                    ),
                                    html.Div(
                                        dcc.Graph(id=ids.FIGURE, config=FIGURE, responsive=True),
                                        id=ids.RESULTS,
                                        role="img",
                                        **aria(
                                            "A dot a run; its values stand in the table of runs"
                                        ),
                                    ),
                                    html.Details(
                                        [
                                            html.Summary("How this was judged"),
                                            html.Ul([html.Li(text) for text in told]),
                                        ]
                                    ),
                                ],
                                className="chosen",
                                **aria("The chosen measure"),
                            ),
                        ],
                        className="measured",
                    ),
                    html.Section(id=ids.RUNS, **aria("Runs")),
                ],
                id=ids.ROOM,
            ),
        ],
        className="room past",
    )


def missing(folder: Folder, error: InputError, asked: Asked) -> list[Component]:
    """What is missing, and how to get it."""
    told: list[Any] = [html.P(plain(error.problem).capitalize() + ".")]
    if asked.where:
        every = asked.link(where=(), last=None)
        told.append(html.P(dcc.Link("All runs of this history", href=every)))
    else:
        command = html.Code(f"tracelens history add {plain(str(folder.path))} LOG…")
        told.append(html.P([command, " adds runs; this room then shows them by itself."]))
    return [html.Section(told, className="missing")]


def filters(whole: Look, asked: Asked) -> list[Component]:
    """A line for each key of `#run` that tells groups of runs apart: its values as links."""
    pairs = whole.history.runs.select("keys").explode("keys").unnest("keys").drop_nulls()
    counted = pairs.group_by("key", "value", maintain_order=True).len()
    values: dict[str, dict[str, int]] = {}
    for key, value, runs in counted.sort("key", "value").iter_rows():  # few rows: keys of runs
        values.setdefault(key, {})[value] = runs
    wanted = dict(asked.where)
    lines: list[Component] = []
    for key in sorted({*values, *wanted}):
        known = values.get(key, {})
        groups = 1 < len(known) <= MOST_VALUES and max(known.values()) > 1
        if key not in wanted and not groups:
            continue
        shown = {v: n for v, n in known.items() if len(known) <= MOST_VALUES or v == wanted[key]}
        if key in wanted:
            shown.setdefault(wanted[key], 0)
        links = [_choice("any", asked.only(key, None), key not in wanted)]
        links += [
            _choice(f"{short(value)} ({runs})", asked.only(key, value), wanted.get(key) == value)
            for value, runs in shown.items()
        ]
        lines.append(html.Div([html.Span(short(key), className="quiet"), *links]))
    return [*lines, *_newest(whole.history.runs.height, asked)]


def _newest(runs: int, asked: Asked) -> list[Component]:
    """A line for the newest runs alone, as `--last` has them; none in a short history."""
    numbers = sorted({*(n for n in NEWEST if n < runs), *filter(None, (asked.last,))})
    if not numbers:
        return []
    links = [_choice("all", asked.link(last=None), asked.last is None)]
    links += [_choice(str(n), asked.link(last=n), asked.last == n) for n in reversed(numbers)]
    return [html.Div([html.Span("newest", className="quiet"), *links])]


def over(asked: Asked) -> list[Component]:
    """The two ways to lay out the runs."""
    ways = (("order", "in order"), ("time", "over time"))
    named = [_choice(name, asked.link(by=by), asked.by == by) for by, name in ways]
    return [html.Span("runs", className="quiet"), *named]


def _choice(text: str, href: str, here: bool) -> Component:
    current: dict[str, Any] = {"aria-current": "true"} if here else {}
    return html.Span(dcc.Link(text, href=href), className="choice", **current)


def said(look: Look, chosen: dict[str, Any], asked: Asked) -> list[Any]:
    """The chosen measure in a sentence; and that another was asked for, if it is not here."""
    named = None
    if chosen["changed_at"] is not None:
        run = look.history.runs.filter(run=chosen["changed_at"]).row(0, named=True)
        named = wording.name(run)
    told: list[Any] = [html.B(sentence(wording.course(chosen, named)))]
    if asked.measure and (asked.measure, asked.subject) != (chosen["measure"], chosen["subject"]):
        told.insert(0, f"No {plain(asked.measure)} of {short(asked.subject)} in these runs. ")
    return told
