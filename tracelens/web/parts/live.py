"""A log that grows: its newest reading comes by itself, and the window can stay at its end."""

from dataclasses import replace
from typing import Any

import polars as pl
from dash import Dash, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component

from tracelens.drawing.runs import Run
from tracelens.plain import plain
from tracelens.units import NS_PER_S
from tracelens.web import ids, moves
from tracelens.web.following import LIVE, Follower
from tracelens.web.moves import Chosen, View
from tracelens.web.shelf import Shelf

_ASK_MS = 1000
_FIRST_WIDTH_NS = NS_PER_S


def component() -> Component:
    """The choice to stay at the end, and how the following goes; hidden for any other run."""
    return html.Div(
        [
            dcc.Interval(id=ids.LIVE_CLOCK, interval=_ASK_MS, disabled=True),
            dcc.Checklist(
                [{"value": "end", "label": "stay at the end"}],
                id=ids.LIVE_STAY,
                value=["end"],
                persistence=True,
                persistence_type="session",
            ),
            html.Span(id=ids.LIVE_NOTE, className="quiet", role="status"),
        ],
        id=ids.LIVE_BOX,
        className="live",
        hidden=True,
    )


def is_live(run_id: str) -> bool:
    """Whether the id is that of a log that grows."""
    return run_id.startswith(f"{LIVE}.")


def register(app: Dash, shelf: Shelf, follower: Follower | None) -> None:
    """Ask for the newest reading; without a `follower` nothing grows."""
    if follower is None:
        return

    @app.callback(
        Output(ids.LIVE_CLOCK, "disabled"),
        Output(ids.LIVE_BOX, "hidden"),
        Input(ids.RUN, "data"),
    )
    def shown(stored: dict[str, Any] | None) -> tuple[bool, bool]:
        off = stored is None or not is_live(stored["id"])
        return off, off

    @app.callback(
        Output(ids.RUN, "data", allow_duplicate=True),
        Output(ids.VIEW, "data", allow_duplicate=True),
        Output(ids.CHOSEN, "data", allow_duplicate=True),
        Output(ids.LIVE_NOTE, "children"),
        Input(ids.LIVE_CLOCK, "n_intervals"),
        State(ids.RUN, "data"),
        State(ids.VIEW, "data"),
        State(ids.CHOSEN, "data"),
        State(ids.LIVE_STAY, "value"),
        prevent_initial_call=True,
    )
    def grown(
        _clock: int | None,
        stored: dict[str, Any],
        view: dict[str, Any],
        chosen: Chosen,
        stay: list[str] | None,
    ) -> Any:
        note = follower.status.said
        newest = shelf.newest(stored["id"])
        run = shelf.get(newest)
        if newest == stored["id"] or run is None or not is_live(newest):
            return no_update, no_update, no_update, note
        before = shelf.get(stored["id"])
        if number_of(stored["id"]) < follower.status.anew:
            moved, job = at_the_end(run), None
        else:
            moved = carried(View(**view), stored["span"], run, bool(stay))
            job = same_job(before, run, chosen)
        kept = {"id": newest, "span": run.span_ns, "name": plain(run.name)}
        return kept, moved.stored(), job, note


def number_of(run_id: str) -> int:
    """Which reading an id names: 7 for `live.7`, 0 for what names none."""
    number = run_id.partition(".")[2]
    return int(number) if number.isascii() and number.isdigit() and len(number) < 12 else 0


def at_the_end(run: Run) -> View:
    """What a growing log opens on: its last second."""
    return moves.fit(run, View(run.span_ns - _FIRST_WIDTH_NS, run.span_ns))


def carried(view: View, span_before: int, run: Run, stay: bool) -> View:
    """The view in a newer reading: where it was, or still at the end if it was there.

    A window over the whole run stays one over the whole run, once that is longer than a second.
    """
    if stay and view.end >= span_before:
        width = max(view.end - view.start, min(_FIRST_WIDTH_NS, run.span_ns))
        if view.start <= 0 and width > _FIRST_WIDTH_NS:
            width = run.span_ns
        view = replace(view, start=run.span_ns - width, end=run.span_ns)
    return moves.fit(run, view)


def same_job(before: Run | None, run: Run, chosen: Chosen) -> Chosen:
    """The chosen job in a newer reading, where jobs are numbered through anew."""
    job = before.job(chosen) if before is not None and chosen is not None else None
    if job is None:
        return None
    jobs = run.analysis.timeline.jobs
    same = jobs.filter((pl.col("task") == job["task"]) & (pl.col("job") == job["job"]))
    return int(same["job_id"][0]) if same.height else None
