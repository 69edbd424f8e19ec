"""Load over time: of each core, and of one task or handler, in windows of any length.

The windows lie on a grid, and the load in each is exact. Where more windows than pixels are to be
drawn, a column's line is at the highest of its windows and a band reaches down to the lowest: a
peak is never averaged away.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from tracelens.drawing.axis import round_step
from tracelens.drawing.figures import (
    LINE_DASHES,
    LINE_STATES,
    Figure,
    Shown,
    caption,
    columns,
    legend,
    over_time,
    share_axis,
)
from tracelens.drawing.packing import inert, packed
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet, remark
from tracelens.drawing.window import time_in
from tracelens.findings.wording import duration
from tracelens.measures.contract import of_name
from tracelens.spans import Integers, SpentTime

STEP_PX: Final = 4
"""Width of a step of the curve, unless the reader asks for other windows."""

MOST_WINDOWS: Final = 1_000_000
"""Shorter windows than this many to the visible time are not computed."""

MOST_CORES: Final = 16
LONGEST_NAME: Final = 40

_BUSY: Final = ("isr", "task", "switching")


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
    run: Run, start_ns: int, end_ns: int, steps: int, window_ns: int | None, who: str | None
) -> Curves:
    """The load of every core and, if `who` is a task or a handler, of it, over [start, end).

    Without a length the windows are as long as `steps` of them make it, rounded up. The load of
    `who` on one core is its occupation / known time of that core, on several the sum of both.
    """
    span = end_ns - start_ns
    least = round_step(span / MOST_WINDOWS)
    width = max(window_ns, least) if window_ns else round_step(span / max(1, steps))
    edges = np.arange(start_ns // width, -(-end_ns // width) + 1, dtype=np.int64) * width
    # The first and the last window may reach over the ends of the run.
    edges = np.unique(np.clip(edges, 0, run.span_ns))
    tracks = run.lanes.tracks["core"]
    made = []
    known = {}
    for core in run.lanes.of("core")[:MOST_CORES]:
        known[core.key] = np.diff(edges) - time_in(tracks["unknown"], core.key, edges)
        busy = sum(time_in(tracks[state], core.key, edges) for state in _BUSY)
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
    return Curves(width, edges, tuple(made))


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
    drawn = curves(run, start_ns, end_ns, columns(sheet) // STEP_PX, window_ns, who)
    palette = sheet.palette
    made = over_time(sheet, start_ns, end_ns)
    made["yaxis"] |= share_axis(palette)
    made["annotations"] += [
        caption("load, %", palette),
        remark(_said(drawn, window_ns, sheet), palette, x=1, y=1, yanchor="bottom", yshift=3),
    ]
    data = [
        trace
        for number, curve in enumerate(drawn.curves)
        for trace in _traces(drawn, curve, number, sheet)
    ]
    made["showlegend"] = len(drawn.curves) > 1
    made["legend"] = legend()
    return {"data": data, "layout": made}, ""


def _said(drawn: Curves, asked_ns: int | None, sheet: Sheet) -> str:
    said = f"in windows of {duration(drawn.window_ns)}"
    if asked_ns and asked_ns < drawn.window_ns:
        said += f" ({duration(asked_ns)} is too short for so long a view)"
    if len(drawn.edges) - 1 > columns(sheet):
        said += ": the line is the highest in each pixel, the band reaches to the lowest"
    return said


def _traces(drawn: Curves, curve: Curve, number: int, sheet: Sheet) -> list[Figure]:
    paint = sheet.palette.states[LINE_STATES[number % len(LINE_STATES)]]
    name = inert(curve.name[:LONGEST_NAME])
    edges, high, low = drawn.edges, curve.load, None
    if len(high) > columns(sheet):
        edges, high, low = _by_pixel(drawn.edges, curve.load, columns(sheet))
    line = {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "x": packed(edges),
        "y": packed(_stepped(high)),
        "line": {
            "shape": "hv",
            "width": 1.5,
            "color": paint.edge,
            "dash": LINE_DASHES[number % len(LINE_DASHES)],
        },
        "hovertemplate": f"{name.replace('%', '&#37;')}: %{{y:.3g}} %<extra></extra>",
    }
    if low is None:
        return [line]
    foot = line | {
        "y": packed(_stepped(low)),
        "line": {"shape": "hv", "width": 0, "color": paint.edge},
        "hoverinfo": "skip",
        "showlegend": False,
    }
    del foot["hovertemplate"]
    return [foot, line | {"fill": "tonexty", "fillcolor": f"{paint.edge}33"}]


def _by_pixel(
    edges: Integers, load: NDArray[np.float64], pixels: int
) -> tuple[Integers, NDArray[np.float64], NDArray[np.float64]]:
    """Highest and lowest load of the windows that begin in each of `pixels` equal columns."""
    first = np.unique(np.linspace(0, len(load), pixels, endpoint=False).astype(np.int64))
    high = np.fmax.reduceat(load, first)
    low = np.fmin.reduceat(load, first)
    return np.append(edges[first], edges[-1]), high, low


def _stepped(load: NDArray[np.float64]) -> NDArray[np.float32]:
    return (100 * np.append(load, load[-1:])).astype(np.float32)


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
