"""An explanation in words, as a part of the page: why, what to try, and the evidence beneath."""

from collections.abc import Sequence
from typing import Any, Final

from dash import html
from dash.development.base_component import Component

from tracelens.drawing.words import reason
from tracelens.explanation import wording
from tracelens.explanation.records import Explanation, Growth, Job, Repair, Stretch
from tracelens.numbers import time_in, time_unit
from tracelens.plain import plain
from tracelens.replay import Change
from tracelens.replay.changes import Protocol
from tracelens.web.components import data, in_words, sentence, swatch
from tracelens.web.panels import places
from tracelens.web.rooms.repair.asked import link

MOST_WAITS: Final = 8
MOST_STORIES: Final = 6
"""So many are told here; `tracelens explain --json` has all."""


def words(told: Explanation, run_id: str | None = None) -> list[Component]:
    """All that is told of one job, in the order in which it is asked for.

    With `run_id` what can be tried on paper leads to the room where it is.
    """
    job = told.job
    parts: list[Component] = []
    if told.usual is not None:
        parts.append(html.P(sentence(wording.beside_usual(job, told.usual))))
    if told.repairs:
        parts += [
            html.H3("to try"),
            html.Ol([html.Li(_to_try(r, told, run_id)) for r in told.repairs]),
        ]
    if told.shorter is not None:
        without = told.shorter.together or next(iter(told.shorter.alone), None)
        if without is not None:
            parts.append(html.P(sentence(wording.without(without)), className="quiet"))
    parts += [html.H3("where its time went"), _ledger(told)]
    parts += [html.H3("in order, from the release"), _in_order(told)]
    longest = sorted(told.waits, key=lambda wait: wait.start_ns - wait.end_ns)[:MOST_WAITS]
    waits = [text for wait in told.waits if wait in longest for text in wording.waited(wait, job)]
    waits += [wording.deadlocked(cycle, job) for cycle in told.deadlocks]
    if waits:
        parts += [
            html.H3("who held the locks"),
            html.Ul([html.Li(sentence(text)) for text in waits]),
        ]
    if told.backlog is not None:
        first = told.backlog.first.job
        parts += [
            html.H3("backlog"),
            html.P(
                [sentence(wording.backlog(told.backlog, job)), " ", _to(first, "Show that job")]
            ),
        ]
    if told.late_jobs > 1:
        parts += [html.H3(f"all late jobs of {plain(job.task)}"), _stories(told)]
    return parts


def _to_try(repair: Repair, told: Explanation, run_id: str | None) -> list[Any]:
    """A repair; a protocol or a priority with the way to where it is replayed."""
    said = in_words(sentence(repair.text))
    locks: Sequence[str] = ()
    protocol: Protocol = "inherit"
    if repair.kind == "protocol":
        locks = (repair.subject,)
    elif repair.kind == "deadlock" and told.deadlocks:
        locks, protocol = told.deadlocks[0].locks, "ceiling"
    if run_id is None or not (locks or repair.kind == "order"):
        return said
    job = told.job.job_id
    changes = [Change("protocol", lock, protocol=protocol) for lock in locks]
    href = link(run_id, job, changes)
    if repair.kind == "order":
        href = link(run_id, job, kind="priority", of=repair.subject)
    return [*said, " ", html.A("Try it on paper", href=href)]


def _ledger(told: Explanation) -> Component:
    """The entries, the largest first, beside those of the median job; in one unit."""
    rows = told.usual.growths if told.usual else [
        Growth(row.entry, row.by, row.via, row.ns, row.ns, 0.0) for row in told.rows
    ]  # fmt: skip
    unit = time_unit(row.ns for row in told.rows)
    head = ["", f"this, {unit}", f"median, {unit}" if told.usual else "", ""]
    body = [
        html.Tr(
            [
                html.Td(swatch(row.entry)),
                html.Td(time_in(unit, row.ns), className="number"),
                html.Td(time_in(unit, row.usual_ns) if told.usual else "", className="number"),
                html.Td(reason(row.entry, row.by and plain(row.by), row.via and plain(row.via))),
            ]
        )
        for row in sorted(rows, key=lambda row: -row.ns)
    ]
    return html.Table(
        [html.Thead(html.Tr([html.Th(text, scope="col") for text in head])), html.Tbody(body)]
    )


def _in_order(told: Explanation) -> Component:
    return html.Ol([html.Li(_stretch(stretch, told.job)) for stretch in told.told])


def _stretch(stretch: Stretch, job: Job) -> Component:
    length = time_unit([stretch.end_ns - stretch.start_ns])
    said = (
        f"{wording.from_release(stretch.start_ns, job)}: {wording.doing(stretch)} "
        f"for {time_in(length, stretch.end_ns - stretch.start_ns)} {length}"
    )
    where = wording.where(stretch.rows)
    return html.Button(
        [sentence(said), html.Span(f" — {sentence(where)}", className="quiet")],
        title="Show it in the schedule",
        **data(place=_place(stretch.start_ns, stretch.end_ns, job)),
    )


def _stories(told: Explanation) -> Component:
    causes = wording.late_jobs(told.job.task, told.late_jobs, len(told.stories))
    items: Sequence[Component] = [
        html.Li(
            [
                f"{story.jobs} × {plain(wording.story(story))}. ",
                _to(story.worst, f"Show the worst, job {story.worst.number}"),
            ]
        )
        for story in told.stories[:MOST_STORIES]
    ]
    return html.Div([html.P(sentence(causes)), html.Ul(list(items))])


def _to(job: Job, said: str) -> Component:
    return html.Button(said, **data(place=_place(job.release_ns, job.end_ns, job)))


def _place(start_ns: int, end_ns: int, job: Job) -> str:
    lane = job.task if len(job.task) <= places.LONGEST_LANE else ""
    return f"{start_ns}:{end_ns}:{job.job_id}:{lane}"
