"""The whole as one HTML file, for those who have no page: a button that makes and sends it."""

from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component

from tracelens.drawing.runs import Run
from tracelens.report.html import render
from tracelens.web import ids, takeaway
from tracelens.web.shelf import Shelf


def component() -> Component:
    """The button."""
    title = "Save the whole report as one file: it needs no network and runs no script"
    return html.Span(
        [html.Button("HTML report", id=ids.REPORT, title=title), dcc.Download(id=ids.REPORT_FILE)],
        className="report",
    )


def register(app: Dash, shelf: Shelf) -> None:
    """Make the report of the run that is open; the button waits meanwhile."""

    @app.callback(
        Output(ids.REPORT_FILE, "data"),
        Input(ids.REPORT, "n_clicks"),
        State(ids.RUN, "data"),
        running=[(Output(ids.REPORT, "disabled"), True, False)],
        prevent_initial_call=True,
    )
    def asked(_clicks: int | None, stored: dict[str, Any] | None) -> Any:
        run = shelf.get(stored["id"]) if stored else None
        return no_update if run is None else written(run)


def written(run: Run) -> dict[str, Any]:
    """The report on its way to the reader's disk: data of `dcc.Download`."""
    content = render(run.analysis, run.analysis.timeline)
    name = takeaway.file_name(run.name, "report", 0, run.span_ns, "html")
    return {"content": content, "filename": name, "type": "text/html", "base64": False}
