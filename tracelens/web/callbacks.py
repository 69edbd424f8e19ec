"""What happens when: each callback hands its values to a function that needs no browser."""

from typing import Any

from dash import (
    ALL,
    ClientsideFunction,
    Dash,
    Input,
    Output,
    State,
    ctx,
    html,
    no_update,
)

from tracelens.errors import UsageError
from tracelens.findings.wording import duration
from tracelens.report.plain import plain
from tracelens.web import figures, ids, moves, swimlanes
from tracelens.web.layout import job_words
from tracelens.web.moves import Chosen, View
from tracelens.web.runs import Run, Runs
from tracelens.web.sheet import Sheet
from tracelens.web.this_job import entries, this_job
from tracelens.web.words import instant, read_instant

_NOT_JUDGED = {
    "excluded": "not judged, since part of its time is unknown",
    "aborted": "ended by another hand",
}

BLANK = {
    "data": [],
    "layout": {
        "xaxis": {"visible": False},
        "yaxis": {"visible": False},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
    },
}
"""What stands behind the sentence of an empty panel."""


def register(app: Dash, runs: Runs) -> None:
    """Connect the page of `app` to its runs."""
    _in_the_browser(app)
    _moving(app, runs)
    _drawing(app, runs)


def _in_the_browser(app: Dash) -> None:
    app.clientside_callback(
        ClientsideFunction("page", "moved"),
        Output(ids.VIEW, "data"),
        Input(ids.SCHEDULE, "relayoutData"),
        State(ids.RUN, "data"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("page", "placed"),
        Output(ids.STRIP, "className"),
        Input(ids.VIEW, "data"),
        Input(ids.CHOSEN, "data"),
        Input(ids.RUN, "data"),
    )
    app.clientside_callback(
        ClientsideFunction("page", "shown"),
        Output(ids.SCHEDULE, "figure"),
        Input(ids.DRAWING, "data"),
        prevent_initial_call=True,
    )


def _moving(app: Dash, runs: Runs) -> None:
    @app.callback(
        Output(ids.VIEW, "data", allow_duplicate=True),
        Output(ids.CHOSEN, "data"),
        Input(ids.ADDRESS, "search"),
        State(ids.RUN, "data"),
        prevent_initial_call="initial_duplicate",
    )
    def opened(search: str | None, run: dict[str, Any]) -> tuple[dict[str, int], Chosen]:
        view, chosen = moves.from_address(runs[run["id"]], search or "")
        return view.stored(), chosen

    @app.callback(
        Output(ids.VIEW, "data", allow_duplicate=True),
        Output(ids.CHOSEN, "data", allow_duplicate=True),
        Input({"type": ids.FINDING, "index": ALL}, "n_clicks"),
        Input(ids.PREVIOUS_MISS, "n_clicks"),
        Input(ids.NEXT_MISS, "n_clicks"),
        Input(ids.WHOLE, "n_clicks"),
        Input(ids.PANEL_FIGURE, "clickData"),
        State(ids.VIEW, "data"),
        State(ids.CHOSEN, "data"),
        State(ids.RUN, "data"),
        prevent_initial_call=True,
    )
    def went(
        _findings: list[int | None],
        _previous: int | None,
        _next: int | None,
        _whole: int | None,
        clicked: dict[str, Any] | None,
        view: dict[str, int],
        chosen: Chosen,
        run: dict[str, Any],
    ) -> tuple[Any, Any]:
        moved = go(runs[run["id"]], View(**view), chosen, ctx.triggered_id, clicked)
        return (no_update, no_update) if moved is None else (moved[0].stored(), moved[1])

    @app.callback(
        Output(ids.VIEW, "data", allow_duplicate=True),
        Output(ids.JUMP_NOTE, "children"),
        Input(ids.JUMP, "value"),
        State(ids.VIEW, "data"),
        State(ids.RUN, "data"),
        prevent_initial_call=True,
    )
    def jumped(text: str | None, view: dict[str, int], run: dict[str, Any]) -> tuple[Any, str]:
        moved, note = jump(runs[run["id"]], View(**view), text or "")
        return (no_update if moved is None else moved.stored()), note


def _drawing(app: Dash, runs: Runs) -> None:
    @app.callback(Output(ids.STRIP, "figure"), Input(ids.SCREEN, "data"), Input(ids.RUN, "data"))
    def strip(screen: dict[str, Any] | None, run: dict[str, Any]) -> Any:
        sheet = sheet_of(screen, ids.STRIP)
        return no_update if sheet is None else swimlanes.whole_run(runs[run["id"]], sheet)

    @app.callback(
        Output(ids.DRAWING, "data"),
        Output(ids.LANES_NOTE, "children"),
        Output(ids.WHICH_MISS, "children"),
        Input(ids.VIEW, "data"),
        Input(ids.CHOSEN, "data"),
        Input(ids.SCREEN, "data"),
        State(ids.RUN, "data"),
    )
    def schedule(
        view: dict[str, int] | None,
        chosen: Chosen,
        screen: dict[str, Any] | None,
        run: dict[str, Any],
    ) -> Any:
        sheet = sheet_of(screen, ids.SCHEDULE)
        if view is None or sheet is None:
            return no_update
        return draw(runs[run["id"]], View(**view), chosen, sheet)

    @app.callback(
        Output(ids.JOB_FIGURE, "figure"),
        Output(ids.JOB_EMPTY, "children"),
        Output(ids.JOB_TITLE, "children"),
        Output(ids.JOB_WORDS, "children"),
        Input(ids.CHOSEN, "data"),
        Input(ids.SCREEN, "data"),
        State(ids.RUN, "data"),
    )
    def job(chosen: Chosen, screen: dict[str, Any] | None, run: dict[str, Any]) -> Any:
        sheet = sheet_of(screen, ids.JOB_FIGURE)
        return no_update if sheet is None else explain(runs[run["id"]], chosen, sheet)

    @app.callback(
        Output(ids.PANEL_FIGURE, "figure"),
        Output(ids.PANEL_EMPTY, "children"),
        Output(ids.TASK_CHOOSER, "hidden"),
        Input(ids.PANELS, "value"),
        Input(ids.PANEL_TASK, "value"),
        Input(ids.VIEW, "data"),
        Input(ids.CHOSEN, "data"),
        Input(ids.SCREEN, "data"),
        State(ids.RUN, "data"),
    )
    def panel(
        which: str,
        task: str | None,
        view: dict[str, int] | None,
        chosen: Chosen,
        screen: dict[str, Any] | None,
        run: dict[str, Any],
    ) -> Any:
        sheet = sheet_of(screen, ids.PANEL_FIGURE)
        only_moved = set(ctx.triggered_prop_ids) == {f"{ids.VIEW}.data"} and which != "load"
        if view is None or sheet is None or only_moved:
            return no_update
        figure, missing = fill_panel(runs[run["id"]], which, task, View(**view), chosen, sheet)
        return figure or BLANK, missing, which != "responses"

    @app.callback(
        Output(ids.PANEL_TASK, "value"),
        Input(ids.CHOSEN, "data"),
        State(ids.RUN, "data"),
        prevent_initial_call=True,
    )
    def task_of(chosen: Chosen, run: dict[str, Any]) -> Any:
        job = None if chosen is None else runs[run["id"]].job(chosen)
        return job["task"] if job else no_update


def sheet_of(screen: dict[str, Any] | None, graph: str) -> Sheet | None:
    """The size of one graph as the browser measured it; None before it has."""
    if not screen or graph not in screen["sizes"]:
        return None
    width, height = screen["sizes"][graph]
    # A page that reports an absurd size must not make the server paint it.
    return Sheet(
        min(max(int(width), 100), 8000),
        min(max(int(height), 40), 4000),
        "dark" if screen["scheme"] == "dark" else "light",
    )


def go(
    run: Run, view: View, chosen: Chosen, pressed: Any, clicked: dict[str, Any] | None
) -> tuple[View, Chosen] | None:
    """Where what was pressed leads; None if nowhere."""
    match pressed:
        case {"type": ids.FINDING, "index": index}:
            return moves.to_finding(run, view, run.analysis.findings[index])
        case ids.PREVIOUS_MISS:
            return moves.to_miss(run, view, chosen, -1)
        case ids.NEXT_MISS:
            return moves.to_miss(run, view, chosen, +1)
        case ids.WHOLE:
            return moves.fit(run, View(0, run.span_ns, view.top)), chosen
        case ids.PANEL_FIGURE if clicked and "customdata" in clicked["points"][0]:
            return moves.to_job(run, view, int(clicked["points"][0]["customdata"]))
    return None


def jump(run: Run, view: View, text: str) -> tuple[View | None, str]:
    """The view around a typed time, or None and what is wrong with the text."""
    if not text.strip():
        return None, ""
    try:
        at = read_instant(text)
    except UsageError as error:
        return None, str(error)
    if at > run.span_ns:
        return None, f"the run ends at {instant(run.span_ns)}"
    return moves.to_instant(run, view, at), ""


def draw(run: Run, view: View, chosen: Chosen, sheet: Sheet) -> tuple[dict[str, Any], str, str]:
    """The schedule, which lanes it shows, and which miss the chosen job is."""
    figure, arrangement = swimlanes.schedule(run, view.start, view.end, sheet, view.top, chosen)
    first, shown = arrangement.first, len(arrangement.places)
    lanes = f"lanes {first + 1}–{first + shown} of {arrangement.total}"
    width = duration(view.end - view.start)
    note = f"{width} from {instant(view.start)}"
    if shown < arrangement.total:
        note = f"{lanes} · {note}"
    return figure | {"top": first}, note, moves.which_miss(run, chosen)


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


def fill_panel(
    run: Run, which: str, task: str | None, view: View, chosen: Chosen, sheet: Sheet
) -> figures.Shown:
    """The figure of one panel."""
    if which == "responses":
        return figures.response_times(run, task, sheet, chosen)
    return figures.load_over_time(run, view.start, view.end, sheet)
