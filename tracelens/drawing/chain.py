"""Who holds the locks that are in the way: drawn over the lanes.

Every wait in the window is tied to the lane of its owner by a thin line. The chain of the job that
the reader looks at is drawn through: from the wait to the holder's lane, along it for as long as it
holds the lock, and back; and so on for what the holder itself waits for.
"""

from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np
import polars as pl

from tracelens.drawing.blocks import Drawing
from tracelens.drawing.packing import inert, packed
from tracelens.drawing.palette import Palette
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Place
from tracelens.drawing.telling import chain
from tracelens.explanation.records import Wait
from tracelens.explanation.waits import all_waits
from tracelens.numbers import duration

MOST_LINES: Final = 60
"""Lines from a waiting task to the holder's lane, beyond which they would only be a tangle."""

LEAST_PX: Final = 4
"""A link that is drawn narrower could not be told from a line."""

Link = tuple[int, int, Place, Place, str]
"""[start, end) in ns, lane of who waits, lane of who holds, what the pointer shows (inert)."""


def chain_lines(
    drawing: Drawing, run: Run, places: Sequence[Place], job_id: int | None, palette: Palette
) -> list[dict[str, Any]]:
    """The ties of all waits in the window, and the links of the chain of one job."""
    tasks = {place.lane.name: place for place in places if place.lane.kind == "task"}
    links = list(_links(drawing, run, tasks, job_id)) if job_id is not None else []
    drawn = {(start, waiter.lane.name) for start, _, waiter, _, _ in links}
    return [*_ties(drawing, run, tasks, drawn, palette), *_drawn(links, palette)]


def _links(drawing: Drawing, run: Run, tasks: dict[str, Place], job_id: int) -> Iterator[Link]:
    for wait in (met for first in chain(run, job_id) for met in all_waits(first)):
        for holder in wait.holders:
            low, high = max(wait.start_ns, holder.took_ns), min(wait.end_ns, holder.gave_ns)
            seen = low < drawing.end_ns and high > drawing.start_ns
            wide = (high - low) * drawing.px_per_ns >= LEAST_PX
            if seen and wide and wait.task in tasks and holder.task in tasks:
                said = _said(wait, holder.task, high - low)
                yield low, high, tasks[wait.task], tasks[holder.task], said


def _said(wait: Wait, holder: str, ns: int) -> str:
    doing = "is ready" if wait.kind == "push_through" else f"waits for {inert(wait.wanted)}"
    return (
        f"<b>{inert(wait.task)}</b> {doing}<br><b>{inert(holder)}</b> holds {inert(wait.lock)} "
        f"for {duration(ns)} of that"
    )


def _drawn(links: Sequence[Link], palette: Palette) -> list[dict[str, Any]]:
    if not links:
        return []
    colour = palette.states["late"].edge
    x: list[float] = []
    y: list[float] = []
    for start, end, waiter, holder, _ in links:
        along = holder.baseline + 1.0
        x += [start, start, end, end, np.nan]
        y += [_middle(waiter), along, along, _middle(waiter), np.nan]
    ends = {
        "type": "scatter",
        "mode": "markers",
        "x": packed(np.array([at for start, end, *_ in links for at in (start, end)], np.float64)),
        "y": packed(
            np.array(
                [y for _, _, waiter, holder, _ in links
                 for y in (holder.baseline + 1, _middle(waiter))], np.float32
            )
        ),
        "marker": {
            "symbol": ["diamond", "circle"] * len(links),
            "size": 7,
            "color": colour,
            "line": {"width": 1, "color": palette.paper},
        },
        "hovertext": [said for *_, said in links for _ in range(2)],
        "hoverinfo": "text",
    }  # fmt: skip
    return [_line(np.array(x), np.array(y), {"width": 2.5, "color": colour}), ends]


def _ties(
    drawing: Drawing,
    run: Run,
    tasks: dict[str, Place],
    drawn: set[tuple[int, str]],
    palette: Palette,
) -> list[dict[str, Any]]:
    waits = [
        run.waits.visible(place.lane.key, drawing.start_ns, drawing.end_ns)
        for place in tasks.values()
    ]
    if not waits or sum(part.height for part in waits) > 10 * MOST_LINES:
        return []
    begun = pl.concat(waits).filter(pl.col("start_ns").is_between(drawing.start_ns, drawing.end_ns))
    tied = [
        (start, task, lock, owner)
        for start, task, lock, owner in begun.select(
            "start_ns", *(pl.col(name).cast(pl.String) for name in ("task", "lock", "owner"))
        ).rows()  # few rows: MOST_LINES
        if task in tasks and owner in tasks and (start, task) not in drawn
    ]
    if not tied or len(tied) > MOST_LINES:
        return []
    at = np.array([start for start, *_ in tied], np.float64)
    waiter = np.array([_middle(tasks[task]) for _, task, _, _ in tied])
    owners = np.array([tasks[owner].baseline for *_, owner in tied], np.float64)
    gap = np.full(len(at), np.nan)
    colour = palette.states["blocked"].edge
    return [
        _line(
            np.stack([at, at, gap], axis=1).ravel(),
            np.stack([waiter, owners, gap], axis=1).ravel(),
            {"width": 1, "color": colour, "dash": "dot"},
        ),
        {
            "type": "scatter",
            "mode": "markers",
            "x": packed(at),
            "y": packed(owners.astype(np.float32)),
            "marker": {"symbol": "diamond", "size": 6, "color": colour},
            "hovertext": [
                f"{inert(task)} waits for {inert(lock)}, held by {inert(owner)}"
                for _, task, lock, owner in tied
            ],
            "hoverinfo": "text",
        },
    ]


def _middle(place: Place) -> float:
    return place.baseline - place.block / 2


def _line(x: Any, y: Any, line: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "x": packed(x),
        "y": packed(y.astype(np.float32)),
        "line": line,
        "hoverinfo": "skip",
    }
