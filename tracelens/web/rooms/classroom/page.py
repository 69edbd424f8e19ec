"""The classroom as a page: the set in the address, the table, and what becomes of the set."""

from dataclasses import replace
from typing import Any
from urllib.parse import parse_qs, urlencode

import flask
from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component

from tracelens.engine.check import problems
from tracelens.errors import TraceLensError, UsageError
from tracelens.formats.taskset_toml import parse_taskset
from tracelens.model.system import PROTOCOLS
from tracelens.plain import plain
from tracelens.web.components import aria
from tracelens.web.rooms.classroom import editor, ids
from tracelens.web.rooms.classroom.examples import FIRST, examples
from tracelens.web.rooms.classroom.exercise import (
    COLUMNS,
    LONGEST_CELL,
    MOST_TASKS,
    Exercise,
    Mistake,
    Row,
    mistakes,
    to_toml,
)
from tracelens.web.rooms.classroom.lesson import play
from tracelens.web.rooms.classroom.link import pack, unpack
from tracelens.web.rooms.classroom.results import side_by_side
from tracelens.web.rooms.nav import CLASSROOM, ROOMS, Rooms, nav

TOML: str = f"{CLASSROOM}exercise.toml"
CSV: str = f"{CLASSROOM}exercise.csv"


def component(rooms: Rooms = ROOMS) -> Component:
    """The whole room."""
    return html.Main(
        [
            dcc.Location(id=ids.ADDRESS, refresh=False),
            dcc.Store(id=ids.SET),
            dcc.Store(id=ids.SCREEN),
            html.Header([html.H1("classroom"), nav(CLASSROOM, rooms=rooms)]),
            editor.component(),
            html.Section(
                html.P("The set is being run…", className="quiet"),
                id=ids.RESULTS,
                className="results",
                **aria("Schedules"),
            ),
        ],
        className="room classroom",
    )


def routes(server: flask.Flask) -> None:
    """The set and its logs as files: made from the link, kept nowhere."""

    @server.get(TOML)
    def toml() -> flask.Response:
        return _file("exercise.toml", "application/toml", lambda text: text.encode())

    @server.get(CSV)
    def csv() -> flask.Response:
        return _file("exercise.csv", "text/csv", lambda text: play(text).log)


def _file(name: str, kind: str, content: Any) -> flask.Response:
    asked = flask.request.args
    try:
        exercise = unpack(asked.get("set", ""))
        protocol = asked.get("protocol", exercise.protocols[0] if exercise.protocols else "none")
        found = mistakes(replace(exercise, protocols=(protocol,)))
        if found:
            raise UsageError(found[0].text)
        data = content(to_toml(exercise, protocol))
    except TraceLensError as error:
        return flask.Response(f"{plain(str(error))}\n", status=400, mimetype="text/plain")
    answer = flask.Response(data, mimetype=kind)
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


def register(app: Dash) -> None:
    """Fill the table from the address or an example; follow what is typed."""

    @app.callback(
        Output(ids.TABLE, "children"),
        *(Output(setting, "value") for setting in ids.SETTINGS),
        Output(ids.ABOUT, "children"),
        Output(ids.NOTE, "children"),
        Input(ids.ADDRESS, "search"),
        Input(ids.ADD, "n_clicks"),
        Input(ids.remove(ALL), "n_clicks"),
        State(ids.cell(ALL, ALL), "id"),
        State(ids.cell(ALL, ALL), "value"),
        *(State(setting, "value") for setting in ids.SETTINGS),
    )
    def opened(
        search: str | None,
        _add: int | None,
        away: list[int | None],
        cells: list[dict[str, Any]],
        typed: list[str | None],
        *settings: Any,
    ) -> Any:
        pressed = ctx.triggered_id
        if pressed == ids.ADD or isinstance(pressed, dict):
            if isinstance(pressed, dict) and not any(away):
                return (no_update,) * (len(ids.SETTINGS) + 3)  # rows were just made
            return shown(changed(exercise_of(cells, typed, settings), pressed), no_update)
        return first(search or "")

    @app.callback(
        Output(ids.SET, "data"),
        Output(ids.cell(ALL, ALL), "className"),
        Output(ids.wrong(ALL), "children"),
        Output(ids.SETTINGS_WRONG, "children"),
        Output(ids.SLICE_BOX, "hidden"),
        Output(ids.TOML, "href"),
        Output(ids.RESULTS, "className"),
        Input(ids.cell(ALL, ALL), "value"),
        *(Input(setting, "value") for setting in ids.SETTINGS),
        State(ids.cell(ALL, ALL), "id"),
        State(ids.wrong(ALL), "id"),
        prevent_initial_call=True,
    )
    def followed(typed: list[str | None], *rest: Any) -> Any:
        *settings, cells, lines = rest
        if not cells:
            return no_update, [], [], *(no_update,) * 4
        exercise = exercise_of(cells, typed, settings)
        found = all_mistakes(exercise)
        bad = {(mistake.row, mistake.column) for mistake in found}
        classes = [
            f"cell {cell['column']}{' bad' if (cell['row'], cell['column']) in bad else ''}"
            for cell in cells
        ]
        word = pack(exercise)
        return (
            {"word": word},
            classes,
            [editor.said(found, line["row"]) for line in lines],
            editor.said(found, None),
            exercise.policy != "round_robin",
            f"{TOML}?{urlencode({'set': word})}",
            "results stale" if found else "results",
        )

    @app.callback(
        Output(ids.RESULTS, "children"),
        Input(ids.SET, "data"),
        Input(ids.SCREEN, "data"),
        prevent_initial_call=True,
    )
    def played(stored: dict[str, Any] | None, screen: dict[str, Any] | None) -> Any:
        if not stored or not screen:
            return no_update
        try:
            exercise = unpack(stored["word"])
        except UsageError:
            return no_update
        if all_mistakes(exercise):
            return no_update  # the last good answer stays while a cell is being mended
        sets = {p: to_toml(exercise, p) for p in PROTOCOLS if p in exercise.protocols}
        if len(set(sets.values())) == 1:  # without locks a protocol makes no difference
            sets = dict(list(sets.items())[:1])
        links = {p: f"{CSV}?{urlencode({'set': stored['word'], 'protocol': p})}" for p in sets}
        width = min(max(int(screen["width"]), 300), 4000)
        return side_by_side(sets, links, width, screen["scheme"])

    app.clientside_callback(
        ClientsideFunction("classroom", "placed"),
        Output(ids.SET, "modified_timestamp"),
        Input(ids.SET, "data"),
        prevent_initial_call=True,
    )


def first(search: str) -> Any:
    """What the address asks for: a set, an example, or nothing: then the first example."""
    query = {key: values[0] for key, values in parse_qs(search.removeprefix("?")).items()}
    if "set" in query:
        try:
            return shown(unpack(query["set"]), "")
        except UsageError as error:
            return shown(examples()[FIRST].exercise, "", f"{error.problem}; {error.hint or ''}")
    named = examples().get(query.get("example", FIRST))
    if named is None:
        return shown(Exercise(rows=(Row("a", "1", steps="run 1"),)), "")
    return shown(named.exercise, named.about)


def shown(exercise: Exercise, about: Any, note: str = "") -> Any:
    """An exercise as the values of the table, the settings, and the words beside them."""
    return (
        editor.lines(exercise),
        exercise.policy,
        exercise.order,
        ["yes"] if exercise.preemptive else [],
        exercise.slice,
        exercise.cores,
        exercise.until,
        list(exercise.protocols),
        about,
        note,
    )


def exercise_of(cells: list[dict[str, Any]], typed: list[str | None], settings: Any) -> Exercise:
    """What was typed, as an exercise."""
    rows: dict[int, dict[str, str]] = {}
    for cell, text in zip(cells, typed, strict=True):
        if cell["column"] in COLUMNS:
            most = LONGEST_CELL if cell["column"] == "steps" else 60
            rows.setdefault(int(cell["row"]), {})[cell["column"]] = str(text or "")[: most + 1]
    policy, order, preemptive, length, cores, until, protocols = settings
    return Exercise(
        rows=tuple(Row(**row) for row in list(rows.values())[:MOST_TASKS]),
        policy=str(policy),
        order=str(order),
        preemptive=bool(preemptive),
        slice=str(length or "")[:20],
        cores=str(cores),
        until=str(until or "")[:20],
        protocols=tuple(p for p in PROTOCOLS if p in (protocols or [])),
    )


def changed(exercise: Exercise, pressed: Any) -> Exercise:
    """With one row more, or without the row whose button was pressed."""
    rows = list(exercise.rows)
    if isinstance(pressed, dict):
        return replace(exercise, rows=tuple(rows[: pressed["row"]] + rows[pressed["row"] + 1 :]))
    if len(rows) < MOST_TASKS:
        names = {row.name for row in rows}
        name = next(n for n in map(chr, range(ord("a"), ord("z") + 1)) if n not in names)
        rows.append(Row(name=name, priority="1", steps="run 1"))
    return replace(exercise, rows=tuple(rows))


def all_mistakes(exercise: Exercise) -> list[Mistake]:
    """What is wrong in the cells; if nothing is, what makes no sense together."""
    found = mistakes(exercise)
    if found:
        return found
    rows = {row.name.strip(): number for number, row in enumerate(exercise.rows)}
    try:
        taskset = parse_taskset(to_toml(exercise, "none"), "the set")
    except TraceLensError as error:
        return [Mistake(None, "", error.problem)]
    for problem, hint in problems(taskset):
        told, where = problem, problem.partition(": ")[0]
        row = None
        for name, number in rows.items():
            if where in (f"tasks.{name}", f"tasks.{name}.body", f"tasks.{name}.priority"):
                row, told = number, problem.partition(": ")[2]
        column = {"body": "steps"}.get(where.rpartition(".")[2], where.rpartition(".")[2])
        found.append(Mistake(row, column, f"{told}; {hint}" if hint else told))
    return found
