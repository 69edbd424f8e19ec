"""What becomes of a set: a schedule for each protocol on one time axis, and its slowest jobs."""

from dataclasses import replace
from typing import Any, Final

from dash import dcc, html
from dash.development.base_component import Component

from tracelens.drawing import swimlanes
from tracelens.drawing.key import STATES
from tracelens.drawing.lanes import Lane
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import BOTTOM_PX, CAPTION_PX, TOP_PX, Sheet
from tracelens.drawing.this_job import entries
from tracelens.drawing.words import reason
from tracelens.errors import TraceLensError
from tracelens.model.system import PROTOCOLS
from tracelens.numbers import count, duration
from tracelens.plain import plain
from tracelens.web.components import FIGURE, aria, key, sentence, swatch
from tracelens.web.rooms.classroom.lesson import play, slowest
from tracelens.web.rooms.classroom.worst_case import worst_case

_LANE_PX: Final = 26
_MOST_SAID: Final = 3

_HERE: Final = ("execution", "ready", "wanted", "held")
_KEY: Final = (*(said for said in STATES if said[0] in _HERE), ("late", "after the deadline"))


def side_by_side(tasksets: dict[str, str], links: dict[str, str], width: int, scheme: str) -> Any:
    """A part for each protocol: `tasksets` are the set as TOML, `links` lead to its log."""
    parts = [_part(p, text, links[p], width, scheme) for p, text in tasksets.items()]
    return [*_responses(tasksets), html.Div(key(_KEY), className="key"), *parts]


def _responses(tasksets: dict[str, str]) -> list[Component]:
    """Each task's slowest response under each protocol, if there are several to compare."""
    slowest_of: dict[str, dict[str, str]] = {}
    for protocol, taskset in tasksets.items():
        try:
            jobs = slowest(play(taskset).run)
        except TraceLensError:
            jobs = None
        for job in () if jobs is None else jobs.rows(named=True):  # few rows: one a task
            slowest_of.setdefault(job["task"], {})[protocol] = _response(job)
    if len(tasksets) < 2 or not slowest_of:
        return []
    head = [html.Th("slowest response", scope="col")]
    head += [html.Th(PROTOCOLS[protocol], scope="col") for protocol in tasksets]
    body = [
        html.Tr(
            [
                html.Th(plain(task), scope="row"),
                *(html.Td(told.get(protocol, "–")) for protocol in tasksets),
            ]
        )
        for task, told in slowest_of.items()
    ]
    return [html.Table([html.Thead(html.Tr(head)), html.Tbody(body)], className="responses")]


def _response(job: dict[str, Any]) -> str:
    length = duration(job["end_ns"] - job["release_ns"])
    is_open = ", open" if job["status"] == "open" else ""
    return f"{length}{is_open}{' ✕ late' if job['late'] else ''}"


def _part(protocol: str, taskset: str, link: str, width: int, scheme: str) -> Component:
    name = PROTOCOLS[protocol] if "[locks." in taskset else "no locks in this set"
    try:
        run = play(taskset).run
    except TraceLensError as error:
        told = [html.P(plain(error.problem), className="mistake", role="alert")]
        told += [html.P(plain(error.hint), className="quiet")] if error.hint else []
        return html.Section([html.H2(name), *told], className="protocol")
    return html.Section(
        [
            html.Div(
                [
                    html.H2(name),
                    html.Span(_verdict(run)),
                    html.A("its log", href=link, download="exercise.csv", className="right"),
                ],
                className="bar",
            ),
            *_errors(run),
            _schedule(run, width, scheme, name),
            _jobs(run),
            worst_case(taskset),
        ],
        className="protocol",
        **aria(name),
    )


def _verdict(run: Run) -> str:
    late, jobs = run.late.height, count(run.analysis.timeline.jobs.height, "job")
    if run.analysis.timeline.deadlocks.height:
        return "deadlock"
    if not run.analysis.timeline.jobs["deadline_ns"].drop_nulls().len():
        return f"{jobs}, no deadlines"
    return f"{late} of {jobs} late" if late else f"{jobs}, none late"


def _errors(run: Run) -> list[Component]:
    found = [f for f in run.analysis.findings if f.severity == "error"][:_MOST_SAID]
    return [html.P(["■ ", sentence(finding.text)], className="quiet") for finding in found]


def _schedule(run: Run, width: int, scheme: str, name: str) -> Component:
    lanes = tuple(lane for lane in run.lanes.lanes if _is_worth_a_lane(run, lane))
    # Before its first release the log knows nothing of a task; the engine does: it is dormant.
    tracks = run.lanes.tracks["task"]
    known = run.lanes.tracks | {"task": {s: tracks[s] for s in tracks if s != "unknown"}}
    shown = replace(run, lanes=replace(run.lanes, lanes=lanes, tracks=known))
    groups = len({lane.group for lane in lanes})
    height = TOP_PX + BOTTOM_PX + groups * CAPTION_PX + len(lanes) * _LANE_PX
    sheet = Sheet(width, height, "dark" if scheme == "dark" else "light")
    figure, _ = swimlanes.schedule(shown, 0, run.span_ns, sheet)
    for axis in ("xaxis", "yaxis"):
        figure["layout"][axis]["fixedrange"] = True
    figure["layout"]["dragmode"] = False
    return html.Div(
        dcc.Graph(figure=figure, config=FIGURE, style={"height": f"{height}px"}),
        className="drawn",
        role="img",
        **aria(f"Schedule, {name}"),
    )


def _is_worth_a_lane(run: Run, lane: Lane) -> bool:
    """An idle task says nothing here, nor does the only core: the tasks' lanes tell it all."""
    return not lane.idle and (lane.kind != "core" or len(run.lanes.of("core")) > 1)


def _jobs(run: Run) -> Component:
    jobs = slowest(run).rows(named=True)  # few rows: one a task
    head = html.Tr(
        [
            html.Th(text, scope="col")
            for text in ("task", "job", "slowest", "deadline", "where its time went")
        ]
    )
    return html.Table(
        [html.Thead(head), html.Tbody([_job(run, job) for job in jobs])], className="slowest"
    )


def _job(run: Run, job: dict[str, Any]) -> Component:
    ledger = entries(run, job["job_id"]).rows()  # few rows: a ledger is summed
    deadline = job["deadline_ns"]
    went = [
        html.Span(
            [
                swatch(entry),
                f"{duration(ns)} {reason(entry, by and plain(by), via and plain(via))}",
            ],
            className="item",
        )
        for entry, by, via, ns in ledger
    ]
    return html.Tr(
        [
            html.Th(plain(job["task"]), scope="row"),
            html.Td(job["job"]),
            html.Td(_response(job)),
            html.Td("–" if deadline is None else duration(deadline)),
            html.Td(went),
        ]
    )
