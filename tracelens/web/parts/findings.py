"""What is worth saying about the run, most serious first; a click leads to the place."""

from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html, no_update
from dash.development.base_component import Component

from tracelens.drawing.runs import Run
from tracelens.model.results import Finding
from tracelens.plain import plain
from tracelens.web import ids, moves
from tracelens.web.components import aria
from tracelens.web.moves import Chosen, View
from tracelens.web.shelf import Shelf

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
        Input({"type": ids.FINDING, "index": ALL}, "n_clicks"),
        State(ids.VIEW, "data"),
        State(ids.RUN, "data"),
        prevent_initial_call=True,
    )
    def went(_clicks: list[int | None], view: dict[str, Any], stored: dict[str, Any]) -> Any:
        run = shelf.get(stored["id"])
        # A list that was just filled has been clicked by nobody.
        if run is None or not ctx.triggered or not ctx.triggered[0]["value"]:
            return no_update, no_update
        moved, chosen = to_finding(run, View(**view), ctx.triggered_id["index"])
        return moved.stored(), chosen


def listing(run: Run) -> Component:
    """All findings in the order of the report."""
    found = run.analysis.findings
    if not found:
        return html.P("Nothing to report: no finding in this run.", className="empty")
    return html.Ol([html.Li(_finding(i, finding)) for i, finding in enumerate(found)])


def to_finding(run: Run, view: View, index: int) -> tuple[View, Chosen]:
    """Where the finding numbered `index` leads."""
    return moves.to_finding(run, view, run.analysis.findings[index])


def _finding(index: int, finding: Finding) -> Component:
    # 'x was late. The worst, …': what is wrong stands out, the rest explains.
    first, dot, rest = plain(finding.text).partition(". ")
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
