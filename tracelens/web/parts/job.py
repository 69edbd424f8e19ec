"""This job: where the response time of the chosen job went."""

from typing import Any

import polars as pl
from dash import Dash, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component

from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.drawing.telling import telling
from tracelens.drawing.this_job import this_job
from tracelens.explanation import Explanation
from tracelens.numbers import duration
from tracelens.plain import plain
from tracelens.units import NS_PER_US
from tracelens.web import ids, takeaway
from tracelens.web.components import BLANK, FIGURE, aria
from tracelens.web.moves import Chosen, View
from tracelens.web.parts.job_words import words
from tracelens.web.screen import Screen, sheet_of
from tracelens.web.shelf import Shelf

WHAT = "this job"

_NOT_JUDGED = {
    "excluded": "not judged, since part of its time is unknown",
    "aborted": "ended by another hand",
}


def component() -> Component:
    """Title, ledger as a bar, ledger in words."""
    return html.Section(
        [
            html.Div(
                [
                    html.H2("this job", id=ids.JOB_TITLE),
                    takeaway.buttons(WHAT, ids.JOB_FIGURE),
                ],
                className="bar",
            ),
            html.Div(
                [
                    dcc.Graph(id=ids.JOB_FIGURE, figure=BLANK, config=FIGURE, responsive=True),
                    html.P(id=ids.JOB_EMPTY, className="empty"),
                ],
                className="plot",
            ),
            html.Div(
                id=ids.JOB_WORDS, className="words", tabIndex="0", role="group", **aria("Why")
            ),
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
        Input(ids.RUN, "data"),
    )
    def job(chosen: Chosen, screen: Screen, stored: dict[str, Any] | None) -> Any:
        sheet = sheet_of(screen, ids.JOB_FIGURE)
        run_id = stored["id"] if stored else ""
        run = shelf.get(run_id)
        return no_update if sheet is None or run is None else explain(run, chosen, sheet, run_id)

    @app.callback(
        Output(ids.csv_file(WHAT), "data"),
        Output(ids.csv_note(WHAT), "children"),
        Input(ids.csv(WHAT), "n_clicks"),
        State(ids.CHOSEN, "data"),
        State(ids.RUN, "data"),
        prevent_initial_call=True,
    )
    def taken(_clicks: int | None, chosen: Chosen, stored: dict[str, Any]) -> Any:
        run = shelf.get(stored["id"])
        return take(run, chosen) if run else (no_update, "")


def explain(
    run: Run, chosen: Chosen, sheet: Sheet, run_id: str | None = None
) -> tuple[Any, str, list[Any], list[Any]]:
    """Figure, sentence in its place, title and words of the panel 'this job'."""
    figure, missing = this_job(run, chosen, sheet)
    job = None if chosen is None else run.job(chosen)
    if figure is None or job is None:
        return BLANK, missing, ["this job"], []
    title = ["this job", html.Span(job_title(job))]
    return figure, "", title, words(telling(run, job["job_id"]), run_id)


def take(run: Run, chosen: Chosen) -> tuple[Any, str]:
    """The ledger of the chosen job beside the median one's as a download."""
    job = None if chosen is None else run.job(chosen)
    if job is None:
        return no_update, "no job is chosen"
    rows = beside_usual(telling(run, job["job_id"]))
    view = View(*run.window_of(job))
    return takeaway.table(rows, run, f"job-{job['task']}-{job['job']}", view), ""


def beside_usual(told: Explanation) -> pl.DataFrame:
    """Columns entry, by, via, this_us, usual_us; usual_us is null without a median job."""
    rows: list[tuple[str, str | None, str | None, int, int | None]]
    if told.usual is None:
        rows = [(row.entry, row.by, row.via, row.ns, None) for row in told.rows]
    else:
        rows = [(g.entry, g.by, g.via, g.ns, g.usual_ns) for g in told.usual.growths]
    kinds = {"entry": pl.String, "by": pl.String, "via": pl.String}
    table = pl.DataFrame(rows, {**kinds, "this_us": pl.Int64, "usual_us": pl.Int64}, orient="row")
    return table.with_columns(pl.col("this_us", "usual_us") / NS_PER_US)


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
