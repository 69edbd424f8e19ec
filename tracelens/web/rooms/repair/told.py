"""What a replay says, as parts of the room: belief first, then numbers, then the moved jobs."""

from typing import Any, Final

import polars as pl
from dash import html
from dash.development.base_component import Component

from tracelens.drawing.moved import MOST_OUTLINED, Moved
from tracelens.numbers import count, duration, time_unit
from tracelens.report.blocks import Document, Listing, Paragraph
from tracelens.report.replayed import CANNOT
from tracelens.web.components import sentence
from tracelens.web.panels.panel import short
from tracelens.web.rooms.two.differs import (
    MOST_TASKS,
    count_or_absent,
    pairs,
    time_or_absent,
)

_TIMES: Final = (("p50_ns", "half of the jobs"), ("p95_ns", "95 %"), ("max_ns", "longest"))
_SIDES: Final = ("recorded", "predicted")
_MOST_NAMED: Final = 3


def believed(document: Document) -> list[Component | str]:
    """How far the replay can be believed; why not further, and what it cannot say, on demand."""
    why: list[Component] = []
    for block in (
        b for s in document.sections if s.title == "How far to believe it" for b in s.blocks
    ):
        if isinstance(block, Listing):
            why.append(html.Ul([html.Li(sentence(str(item))) for item in block.items]))
        elif isinstance(block, Paragraph):
            why.append(html.P(sentence(block.text)))
    more = html.Details([html.Summary("how far to believe it"), *why, html.P(CANNOT)])
    return [sentence(document.facts[0]), more]


def numbers(tasks: pl.DataFrame) -> Component:
    """The table `Prediction.tasks`: response times in one unit, and misses."""
    columns = [f"{side}_{name}" for name, _ in _TIMES for side in _SIDES]
    unit = time_unit(ns for name in columns for ns in tasks[name])
    rows = []
    for row in tasks.head(MOST_TASKS).to_dicts():  # few rows: one a task
        cells = [_both(row, name, lambda ns: time_or_absent(ns, unit)) for name, _ in _TIMES]
        rows.append((_named(row), [*cells, _both(row, "misses", count_or_absent)]))
    table = pairs([*(f"{title}, {unit}" for _, title in _TIMES), "late"], _SIDES, rows)
    if tasks.height <= MOST_TASKS:
        return table
    left_out = f"The first {MOST_TASKS} of {tasks.height} tasks; tracelens whatif has all."
    return html.Div([table, html.P(left_out, className="quiet")])


def _both(row: dict[str, Any], name: str, told: Any) -> tuple[str, str]:
    recorded, predicted = (told(row[f"{side}_{name}"]) for side in _SIDES)
    return recorded, predicted


def _named(row: dict[str, Any]) -> list[Component | str]:
    change = row["change"]
    if change == "same":
        return [short(row["task"])]
    word = html.B(change) if change == "worse" else html.Span(change, className="quiet")
    return [short(row["task"]), " ", word]


def both_sides(moved: pl.DataFrame) -> tuple[Moved, Moved]:
    """The moved jobs as each of the schedules has them."""
    of = pl.col("task"), pl.col("job"), pl.col("by_ns")
    recorded = moved.select(
        *of,
        start_ns=pl.col("release_ns"),
        end_ns=pl.col("release_ns") + pl.col("response_ns"),
    )
    predicted = moved.drop_nulls("release_ns_after").select(
        *of,
        start_ns=pl.col("release_ns_after"),
        end_ns=pl.col("release_ns_after") + pl.col("response_ns_after"),
    )
    return Moved(recorded), Moved(predicted, said=True)


def in_words(moved: Moved, start_ns: int, end_ns: int) -> str:
    """Which jobs of the record a window has whose response changes."""
    there = moved.within(start_ns, end_ns)
    if there.is_empty():
        return "No job in this window changes its response by more than a switch."
    most = there.head(_MOST_NAMED).to_dicts()  # few rows: those that are named
    said = "; ".join(_moved(job) for job in most)
    left = there.height - len(most)
    more = f"; and {count(left, 'other')}" if left else ""
    few = f" The {MOST_OUTLINED} most moved are." if there.height > MOST_OUTLINED else ""
    return f"Outlined, since their response changes: {said}{more}.{few}"


def _moved(job: dict[str, Any]) -> str:
    name = f"{short(job['task'])}, job {job['job']}"
    if job["by_ns"] is None:
        return f"{name}: not complete in the prediction"
    return f"{name}: {duration(abs(job['by_ns']))} {'longer' if job['by_ns'] > 0 else 'shorter'}"
