"""Load over time: of each core, and of one task or handler, in windows of any length.

The windows lie on a grid, and the load in each is exact. Where more windows than pixels are to be
drawn, a column's line is at the highest of its windows and a band reaches down to the lowest: a
peak is never averaged away.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from tracelens.drawing.axis import round_step
from tracelens.drawing.figures import Figure, Shown, area
from tracelens.drawing.packing import packed
from tracelens.drawing.panels.rows import label, stacked, width
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.drawing.window import time_in
from tracelens.measures.contract import of_name
from tracelens.numbers import duration
from tracelens.spans import Integers, SpentTime

STEP_PX: Final = 4
"""Width of a step of the curve, unless the reader asks for other windows."""

MOST_WINDOWS: Final = 200_000
"""Shorter windows than this many to the visible time are not computed."""

MOST_CORES: Final = 16
BUSY: Final = ("isr", "task", "switching")


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Load from 0 to 1 of one thing in each window; NaN where nothing is known."""

    name: str
    load: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Curves:
    """`edges` are the borders of the windows (ns), one more than there are windows."""

    window_ns: int
    edges: Integers
    curves: tuple[Curve, ...]


def curves(
    run: Run,
    start_ns: int,
    end_ns: int,
    steps: int,
    window_ns: int | None,
    who: str | None = None,
    states: Sequence[str] = BUSY,
) -> Curves:
    """The load of every core and, if `who` is a task or a handler, of it, over [start, end).

    Other `states` than the busy ones give the share of known time that the cores spend in them.

    Without a length the windows are as long as `steps` of them make it, rounded up. The load of
    `who` on one core is its occupation / known time of that core, on several the sum of both.
    """
    span = end_ns - start_ns
    least = round_step(span / MOST_WINDOWS)
    length = max(window_ns, least) if window_ns else round_step(span / max(1, steps))
    edges = np.arange(start_ns // length, -(-end_ns // length) + 1, dtype=np.int64) * length
    # The first and the last window may reach over the ends of the run.
    edges = np.unique(np.clip(edges, 0, run.span_ns))
    tracks = run.lanes.tracks["core"]
    made = []
    known = {}
    for core in run.lanes.of("core")[:MOST_CORES]:
        known[core.key] = np.diff(edges) - time_in(tracks["unknown"], core.key, edges)
        busy = sum(time_in(tracks[state], core.key, edges) for state in states)
        made.append(Curve(core.label, _share(np.asarray(busy), known[core.key])))
    if who:
        occupied = of_name(run.analysis.timeline.occupancy, "who", who)
        occupied = occupied.filter(pl.col("occupant").is_in(("isr", "task", "idle")))
        parts = SpentTime.of(occupied, "core")
        shares = [
            _share(parts.between(edges[:-1], edges[1:], core), known[core])
            for core in parts.keys.tolist()
            if core in known
        ]
        made.append(Curve(who, _sum(shares, len(edges) - 1)))
    return Curves(length, edges, tuple(made))


def load_over_time(
    run: Run,
    start_ns: int,
    end_ns: int,
    sheet: Sheet,
    window_ns: int | None = None,
    who: str | None = None,
) -> Shown:
    """Load of each core and of one task or handler over [start_ns, end_ns)."""
    if not run.lanes.of("core"):
        return None, "No core is known: the log has no `start` event."
    drawn = curves(run, start_ns, end_ns, width(sheet) // STEP_PX, window_ns, who)
    return shares_over_time(drawn, start_ns, end_ns, "load, %", sheet, window_ns), ""


def shares_over_time(
    drawn: Curves, start_ns: int, end_ns: int, what: str, sheet: Sheet, asked_ns: int | None = None
) -> Figure:
    """Curves over [start_ns, end_ns), one above the other; `what` is what they count."""
    pixels = width(sheet)
    names = [curve.name for curve in drawn.curves]
    made, axes = stacked(sheet, start_ns, end_ns, names, what, _said(drawn, asked_ns, pixels))
    return {
        "data": [
            trace
            for curve, axis in zip(drawn.curves, axes, strict=True)
            for trace in traces(drawn, curve, axis, pixels, sheet)
        ],
        "layout": made,
    }


def _said(drawn: Curves, asked_ns: int | None, pixels: int) -> str:
    said = f"in windows of {duration(drawn.window_ns)}"
    if asked_ns and asked_ns < drawn.window_ns:
        said += f" ({duration(asked_ns)} is too short for so long a view)"
    if len(drawn.edges) - 1 > pixels:
        said += ", the highest and the lowest in each pixel"
    return said


def traces(drawn: Curves, curve: Curve, axis: str, pixels: int, sheet: Sheet) -> list[Figure]:
    """The line of a curve, and the area under it, or down to the lowest where it has one."""
    edges, high = drawn.edges, curve.load
    low = np.zeros(len(high))
    if len(high) > pixels:
        edges, high, low = _by_pixel(drawn.edges, curve.load, pixels)
    name = label(curve.name)
    line = {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "yaxis": axis,
        "x": packed(edges),
        "y": packed((100 * np.append(high, high[-1:])).astype(np.float32)),
        "line": {
            "shape": "hv",
            "width": 1.2,
            "color": sheet.palette.states["execution"].edge,
        },
        "hovertemplate": f"{name.replace('%', '&#37;')}: %{{y:.3g}} %<extra></extra>",
    }
    return [area(edges, 100 * low, 100 * high, sheet.palette) | {"yaxis": axis}, line]


def _by_pixel(
    edges: Integers, load: NDArray[np.float64], pixels: int
) -> tuple[Integers, NDArray[np.float64], NDArray[np.float64]]:
    """Highest and lowest load of the windows that begin in each of `pixels` equal columns."""
    first = np.unique(np.linspace(0, len(load), pixels, endpoint=False).astype(np.int64))
    high = np.fmax.reduceat(load, first)
    low = np.fmin.reduceat(load, first)
    return np.append(edges[first], edges[-1]), high, low


def _sum(shares: list[NDArray[np.float64]], windows: int) -> NDArray[np.float64]:
    """The load on all cores: what is known of it; NaN where nothing is."""
    if not shares:
        return np.zeros(windows)
    total: NDArray[np.float64] = np.nansum(shares, axis=0)
    total[np.isnan(shares).all(axis=0)] = np.nan
    return total


def _share(part: Integers, whole: Integers) -> NDArray[np.float64]:
    share = np.full(len(whole), np.nan)
    np.divide(part, whole, out=share, where=whole > 0)
    return share
