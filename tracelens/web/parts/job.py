"""This job: where the response time of the chosen job went."""

from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component

from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.drawing.this_job import entries, this_job
from tracelens.drawing.words import reason
from tracelens.findings.wording import duration
from tracelens.plain import plain
from tracelens.report.numbers import time_in, time_unit
from tracelens.web import ids
from tracelens.web.components import BLANK, FIGURE, aria, swatch
from tracelens.web.moves import Chosen
from tracelens.web.screen import Screen, sheet_of
from tracelens.web.shelf import Shelf

_NOT_JUDGED = {
    "excluded": "not judged, since part of its time is unknown",
    "aborted": "ended by another hand",
}


def component() -> Component:
    """Title, ledger as a bar, ledger in words."""
    return html.Section(
        [
            html.H2("this job", id=ids.JOB_TITLE),
            html.Div(
                [
                    dcc.Graph(id=ids.JOB_FIGURE, config=FIGURE, responsive=True),
                    html.P(id=ids.JOB_EMPTY, className="empty"),
                ],
                className="plot",
            ),
            html.Ol(id=ids.JOB_WORDS),
        ],
        className="job",
        **aria("This job: where its response time went"),
    )


def register(app: Dash, shelf: Shelf) -> None:
    """Tell of the chosen job."""

    @app.callback(
        Output(ids.JOB_FIGURE, "figure"),
        Output(ids.JOB_EMPTY, "children"),
        Output(ids.JOB_TITLE, "children"),
        Output(ids.JOB_WORDS, "children"),
        Input(ids.CHOSEN, "data"),
        Input(ids.SCREEN, "data"),
        State(ids.RUN, "data"),
    )
    def job(chosen: Chosen, screen: Screen, stored: dict[str, Any] | None) -> Any:
        sheet = sheet_of(screen, ids.JOB_FIGURE)
        run = shelf.get(stored["id"]) if stored else None
        return no_update if sheet is None or run is None else explain(run, chosen, sheet)


def explain(run: Run, chosen: Chosen, sheet: Sheet) -> tuple[Any, str, list[Any], list[Any]]:
    """Figure, sentence in its place, title and words of the panel 'this job'."""
    figure, missing = this_job(run, chosen, sheet)
    job = None if chosen is None else run.job(chosen)
    if figure is None or job is None:
        return BLANK, missing, ["this job"], []
    title = ["this job", html.Span(job_title(job))]
    ledger = entries(run, job["job_id"]).rows()  # few rows: a ledger is summed
    return figure, "", title, job_words(ledger)


def job_title(job: dict[str, Any]) -> str:
    """'needle_select, job 4060: 2.41 ms after release, 0.61 ms late'."""
    text = f"{plain(job['task'])}, job {job['job']}"
    length = job["end_ns"] - job["release_ns"]
    if job["status"] == "open":
        text += f": still open after {duration(length)}"
    elif job["status"] == "complete":
        text += f": response {duration(length)}"
    else:
        text += f": {_NOT_JUDGED[job['status']]}"
    if job["deadline_ns"] is None:
        return f"{text}, no deadline declared"
    if not job["late"]:
        return f"{text}, deadline {duration(job['deadline_ns'])}"
    return f"{text}, {duration(length - job['deadline_ns'])} over its deadline"


def job_words(ledger: list[tuple[str, str | None, str | None, int]]) -> list[Component]:
    """The entries of a ledger in words, as list items, the largest first; in one unit."""
    unit = time_unit(ns for _, _, _, ns in ledger)
    return [
        html.Li(
            [
                swatch(entry),
                html.Span(f"{time_in(unit, ns)} {unit}", className="amount"),
                html.Span(reason(entry, by and plain(by), via and plain(via))),
            ]
        )
        for entry, by, via, ns in ledger
    ]
