"""The room 'try a repair': a run replayed with changes, and drawn under the record.

Run, changes and window are in the address; nothing is kept on the server but the runs.
"""

from typing import Any
from urllib.parse import parse_qs

import polars as pl
from dash import ALL, Dash, Input, Output, State, ctx, no_update

from tracelens.drawing.runs import Run
from tracelens.drawing.two_runs import match
from tracelens.errors import UsageError
from tracelens.plain import plain
from tracelens.web.components import sentence
from tracelens.web.loading import find
from tracelens.web.rooms.repair import ids
from tracelens.web.rooms.repair.asked import (
    OFFERED,
    Written,
    changes_of,
    subjects,
    with_change,
    written,
)
from tracelens.web.rooms.repair.layout import head, listed, missing
from tracelens.web.rooms.repair.replaying import Answer, Replays
from tracelens.web.rooms.repair.told import believed, both_sides, in_words, numbers
from tracelens.web.rooms.two import ids as two
from tracelens.web.rooms.two.page import both, drawings, in_the_browser, view_of
from tracelens.web.shelf import Shelf

DRAWN = ("task", "lock")
"""Kinds of lanes that the schedules show: who waits for what."""

_LONGEST_NUMBER = 12

_GONE = "The run is not here any more. Load the page again to open its log."


def register(app: Dash, shelf: Shelf, replays: Replays) -> None:
    """Take changes, replay, say how far to believe it, draw both runs."""
    _changing(app, shelf)
    _replaying(app, shelf, replays)
    in_the_browser(app)


def _changing(app: Dash, shelf: Shelf) -> None:
    @app.callback(
        Output(ids.ASKED, "data"),
        Output(two.MISSING, "children"),
        Output(two.RESULTS, "hidden"),
        Output(ids.KIND, "value"),
        Output(ids.SUBJECT, "value"),
        Input(two.ADDRESS, "search"),
    )
    def opened(search: str | None) -> Any:
        query = {k: v[0] for k, v in parse_qs((search or "").removeprefix("?")).items()}
        asked_for = query.get("run", "")[:200]
        run_id = shelf.newest(asked_for or shelf.first() or "")
        if find(shelf, run_id) is None:
            return no_update, missing(bool(asked_for)), True, no_update, no_update
        window = {key: query[key] for key in ("from", "to", "job") if key in query}
        asked = {"run": run_id, "changes": written(search or ""), "window": window}
        kind = query.get("kind", "")
        return (
            asked,
            None,
            False,
            kind if kind in OFFERED else "protocol",
            query.get("of", "")[:200],
        )

    @app.callback(
        Output(ids.SUBJECT, "options"),
        Output(ids.SUBJECT, "value", allow_duplicate=True),
        Output(ids.SUBJECT_BOX, "hidden"),
        Output(ids.PROTOCOL_BOX, "hidden"),
        Output(ids.VALUE_BOX, "hidden"),
        Input(ids.KIND, "value"),
        Input(ids.ASKED, "data"),
        State(ids.SUBJECT, "value"),
        prevent_initial_call=True,
    )
    def offered(kind: str | None, asked: Any, chosen: str | None) -> Any:
        run = shelf.get(asked["run"]) if asked else None
        options = subjects(run, kind or "") if run else []
        known = [option["value"] for option in options]
        value = chosen if chosen in known else next(iter(known), None)
        return options, value, kind == "clock", kind != "protocol", kind == "protocol"

    @app.callback(
        Output(ids.ASKED, "data", allow_duplicate=True),
        Output(ids.PROBLEM, "children", allow_duplicate=True),
        Input(ids.ADD, "n_clicks"),
        Input(ids.VALUE, "n_submit"),
        Input(ids.remove(ALL), "n_clicks"),
        State(ids.KIND, "value"),
        State(ids.SUBJECT, "value"),
        State(ids.PROTOCOL, "value"),
        State(ids.VALUE, "value"),
        State(ids.ASKED, "data"),
        prevent_initial_call=True,
    )
    def altered(
        _add: Any, _enter: Any, away: list[int | None], kind: Any, of: Any, protocol: Any,
        value: Any, asked: Any,
    ) -> Any:  # fmt: skip
        pressed = ctx.triggered_id
        if not asked or (isinstance(pressed, dict) and not any(away)):
            return no_update, no_update  # buttons were just made
        told: Written = asked["changes"]
        try:
            if isinstance(pressed, dict):
                told = [one for n, one in enumerate(told) if n != pressed["remove"]]
            else:
                to = str((protocol if kind == "protocol" else value) or "")
                told = with_change(told, str(kind), str(of or ""), to)
        except UsageError as error:
            return no_update, plain(error.problem)
        return {**asked, "changes": told, "window": {}}, ""


def _replaying(app: Dash, shelf: Shelf, replays: Replays) -> None:
    @app.callback(
        Output(ids.TICKET, "data"),
        Output(ids.TICK, "disabled"),
        Output(ids.PROBLEM, "children"),
        Output(ids.CHANGES, "children"),
        Output(ids.ANSWER, "className"),
        Input(ids.ASKED, "data"),
        prevent_initial_call=True,
    )
    def begun(asked: Any) -> Any:
        run = shelf.get(asked["run"]) if asked else None
        if run is None:
            return no_update, True, _GONE, no_update, "stale"
        try:
            changes = changes_of(asked["changes"])
            ticket = replays.begin(asked["run"], run, changes)
        except UsageError as error:
            return no_update, True, plain(error.problem), listed(asked["changes"]), "stale"
        return ticket, False, "", listed(asked["changes"]), "stale"

    @app.callback(
        Output(ids.STEP, "children"),
        Output(ids.PROBLEM, "children", allow_duplicate=True),
        Output(ids.TICK, "disabled", allow_duplicate=True),
        Output(two.PAIR, "data"),
        Output(ids.ANSWER, "className", allow_duplicate=True),
        Input(ids.TICKET, "data"),
        Input(ids.TICK, "n_intervals"),
        State(ids.ASKED, "data"),
        prevent_initial_call=True,
    )
    def polled(ticket: str | None, _tick: int | None, asked: Any) -> Any:
        told = replays.progress(ticket) if ticket else None
        if told is None:
            return "", _GONE if ticket else "", True, no_update, no_update
        if told.problem:
            hint = f" ({told.hint})" if told.hint else ""
            return "", plain(told.problem + hint), True, no_update, "stale"
        if told.run is None:
            return told.step, "", False, no_update, no_update
        query = [["run", asked["run"]], *asked["changes"]]
        run = shelf.get(asked["run"])
        name = f"{plain(run.name) if run else 'a run'} repaired"
        pair = {"a": asked["run"], "b": told.run, "query": query, "name": name}
        pair["window"] = asked["window"]
        return "", "", True, pair, ""

    @app.callback(
        Output(two.MOMENTS, "data"),
        Output(two.VIEW, "data", allow_duplicate=True),
        Output(ids.BELIEVED, "children"),
        Output(two.VERDICT, "children"),
        Output(ids.NUMBERS, "children"),
        Output(two.NAME_A, "children"),
        Output(two.NAME_B, "children"),
        Output(ids.ANSWER, "hidden"),
        Input(two.PAIR, "data"),
        State(two.VIEW, "data"),
        prevent_initial_call=True,
    )
    def answered(pair: Any, view: Any) -> Any:
        found = _found(shelf, replays, pair)
        if found is None:
            return (no_update,) * 8
        recorded, predicted, answer = found
        window = pair["window"]
        keep = view if view and not window else window_of(recorded, predicted, answer, window)
        spans = {"span_a": recorded.span_ns, "span_b": predicted.span_ns}
        return (
            {"a": 0, "b": 0, **spans, "asked": {"at": "begin"}},
            keep,
            believed(answer.document),
            sentence(answer.document.verdict),
            numbers(answer.tasks),
            head(f"recorded: {plain(recorded.name)}", pair["a"]),
            head("predicted", pair["b"]),
            False,
        )

    @app.callback(
        Output(two.SCHEDULE_A, "figure"),
        Output(two.SCHEDULE_B, "figure"),
        Output(two.SCHEDULE_A, "style"),
        Output(two.SCHEDULE_B, "style"),
        Output(two.ONLY, "children"),
        Input(two.VIEW, "data"),
        Input(two.MOMENTS, "data"),
        Input(two.SCREEN, "data"),
        State(two.PAIR, "data"),
        prevent_initial_call=True,
    )
    def drawn(view: Any, at: Any, screen: Any, pair: Any) -> Any:
        found = _found(shelf, replays, pair)
        if pair and found is None:
            return *(no_update,) * 4, _GONE
        if not (view and at and screen and found):
            return no_update
        recorded, predicted, answer = found
        matched = match(recorded, predicted, DRAWN)
        moved = both_sides(answer.moved)
        runs = (recorded, predicted)
        said = in_words(moved[0], int(view["start"]), int(view["end"]))
        return *drawings(runs, matched, view, at, screen, moved), said


def _found(shelf: Shelf, replays: Replays, pair: Any) -> tuple[Run, Run, Answer] | None:
    runs = both(shelf, pair)
    answer = replays.answer(runs[1]) if runs else None
    return (*runs, answer) if runs and answer else None


def window_of(
    recorded: Run, predicted: Run, answer: Answer, asked: dict[str, str]
) -> dict[str, int]:
    """The window of the address; else that around a job.

    That is the job of the address, the first late one that is moved, the most moved, or the first
    late one; where there is none of these, the whole run.
    """
    if "from" in asked:
        return view_of(asked, recorded, predicted)
    number = asked.get("job", "")
    moved = answer.moved["job_id"]
    mended = recorded.late.filter(pl.col("job_id").is_in(moved.implode()))["job_id"]
    known = [*mended[:1], *moved[:1], *recorded.late["job_id"][:1]]
    if number.isascii() and number.isdigit() and len(number) < _LONGEST_NUMBER:
        known.insert(0, int(number))
    job = next((job for one in known if (job := recorded.job(one))), None)
    if job is None:
        return view_of({}, recorded, predicted)
    start, end = recorded.window_of(job)
    return {"start": start, "end": end}
