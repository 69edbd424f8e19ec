"""What is worth saying about the run, most serious first; a click leads to the place."""

from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html, no_update
from dash.development.base_component import Component

from tracelens.drawing.runs import Run
from tracelens.model.results import Finding
from tracelens.web import ids, moves
from tracelens.web.components import aria, sentence
from tracelens.web.moves import Chosen, View
from tracelens.web.panels.registry import PANELS
from tracelens.web.shelf import Shelf

_PANELS = (
    ("queue", "queues"),
    ("stack", "stacks"),
    ("inversion", "inversions"),
    ("contention", "inversions"),
    ("section", "locks"),
    ("lock_order", "locks"),
    ("deadlock", "locks"),
    ("held_asleep", "locks"),
    ("chain", "chains"),
    ("load", "load"),
    ("core_", "load"),
    ("interrupt", "load"),
    ("lost_events", "quality"),
    ("contradictions", "quality"),
    ("coverage", "quality"),
    ("unused_lines", "quality"),
    ("miss", "responses"),
    ("cause", "responses"),
    ("late", "responses"),
    ("deadline", "responses"),
    ("response", "responses"),
    ("execution", "responses"),
    ("long_job", "responses"),
)
"""A part of a finding's kind → the panel with its evidence; the first that fits."""

_SIGNS = {"error": "■", "warning": "▲", "note": "●"}


def component() -> Component:
    """The list; its content depends on the run."""
    return html.Section(
        [html.H2("findings"), html.Div(id=ids.FINDINGS)],
        className="findings",
        **aria("Findings, most serious first"),
    )


def register(app: Dash, shelf: Shelf) -> None:
    """Fill the list, and lead to the place of what is clicked."""

    @app.callback(Output(ids.FINDINGS, "children"), Input(ids.RUN, "data"))
    def listed(stored: dict[str, Any] | None) -> Any:
        run = shelf.get(stored["id"]) if stored else None
        return listing(run) if run else None

    @app.callback(
        Output(ids.VIEW, "data", allow_duplicate=True),
        Output(ids.CHOSEN, "data", allow_duplicate=True),
        Output(ids.MARKED, "data", allow_duplicate=True),
        Output(ids.PANELS, "value", allow_duplicate=True),
        Output(ids.PANEL_OF, "value", allow_duplicate=True),
        Input({"type": ids.FINDING, "index": ALL}, "n_clicks"),
        State(ids.VIEW, "data"),
        State(ids.RUN, "data"),
        prevent_initial_call=True,
    )
    def went(_clicks: list[int | None], view: dict[str, Any], stored: dict[str, Any]) -> Any:
        run = shelf.get(stored["id"])
        # A list that was just filled has been clicked by nobody.
        if run is None or not ctx.triggered or not ctx.triggered[0]["value"]:
            return (no_update,) * 5
        index = ctx.triggered_id["index"]
        moved, chosen = to_finding(run, View(**view), index)
        panel, of = panel_of(run.analysis.findings[index])
        return moved.stored(), chosen, index, panel or no_update, of or no_update

    @app.callback(
        Output(ids.MARKED, "data"),
        Input(ids.RUN, "data"),
        State(ids.ADDRESS, "search"),
    )
    def opened(stored: dict[str, Any] | None, search: str | None) -> Any:
        run = shelf.get(stored["id"]) if stored else None
        return marked_in(run, search or "") if run else no_update

    @app.callback(
        Output({"type": ids.FINDING, "index": ALL}, "className"),
        Output({"type": ids.FINDING, "index": ALL}, "aria-current"),
        Output(ids.FINDINGS, "data-marked"),
        Input(ids.MARKED, "data"),
        Input(ids.CHOSEN, "data"),
        Input(ids.FINDINGS, "children"),
        State({"type": ids.FINDING, "index": ALL}, "id"),
        State(ids.RUN, "data"),
    )
    def mark(
        marked: int | None,
        chosen: Chosen,
        _listed: Any,
        known: list[dict[str, Any]],
        stored: dict[str, Any] | None,
    ) -> Any:
        run = shelf.get(stored["id"]) if stored else None
        shown = run is not None and marked is not None and is_shown(run, marked, chosen)
        those = [shown and part["index"] == marked for part in known]
        return (
            [f"finding{' marked' * here}" for here in those],
            ["true" if here else "false" for here in those],
            str(marked) if shown else "",
        )


def listing(run: Run) -> Component:
    """All findings in the order of the report."""
    found = run.analysis.findings
    if not found:
        return html.P("Nothing to report: no finding in this run.", className="empty")
    return html.Ol([html.Li(_finding(i, finding)) for i, finding in enumerate(found)])


def to_finding(run: Run, view: View, index: int) -> tuple[View, Chosen]:
    """Where the finding numbered `index` leads."""
    return moves.to_finding(run, view, run.analysis.findings[index])


def marked_in(run: Run, search: str) -> int | None:
    """The finding that the page opens on: the one that the address names, else of no address."""
    named = moves.number_in(search, "finding")
    if named is not None:
        return named if named < len(run.analysis.findings) else None
    if moves.names_a_place(search):
        return None
    return next((i for i, f in enumerate(run.analysis.findings) if f.at_ns is not None), None)


def is_shown(run: Run, marked: int, chosen: Chosen) -> bool:
    """Whether the chosen job is still the one that the marked finding leads to."""
    return to_finding(run, View(0, run.span_ns), marked)[1] == chosen


def panel_of(finding: Finding) -> tuple[str | None, str | None]:
    """The panel that has the evidence of a finding, and the thing in it; None: as it is."""
    wanted = next((panel for word, panel in _PANELS if word in finding.kind), None)
    return (wanted, finding.subject) if wanted in {p.value for p in PANELS} else (None, None)


def _finding(index: int, finding: Finding) -> Component:
    # 'x was late. The worst, …': what is wrong stands out, the rest explains.
    first, dot, rest = sentence(finding.text).partition(". ")
    content = [
        html.Span(
            _SIGNS.get(finding.severity, "●"),
            className=f"sign {finding.severity}",
            title=finding.severity,
            **aria(finding.severity),
        ),
        html.Span([first + dot, html.Span(rest, className="quiet")]),
    ]
    if finding.at_ns is None:
        return html.Div(content, className="finding")
    return html.Button(
        content, id=ids.finding(index), className="finding", title="Show the place in the schedule"
    )
