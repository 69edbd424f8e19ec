"""Lanes drawn as pixel columns: a picture of exact shares, and what the pointer reads from them."""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from tracelens.drawing.lanes import DRAWN, Lanes
from tracelens.drawing.levels import Levels
from tracelens.drawing.packing import inert, packed
from tracelens.drawing.palette import DARK, LIGHT
from tracelens.drawing.raster import Pixels, Stack, as_uri, colours, paint, paint_levels, png
from tracelens.drawing.sheet import Place, Sheet
from tracelens.drawing.window import column_edges, share_in, time_in
from tracelens.numbers import duration
from tracelens.spans import Integers
from tracelens.units import NS_PER_S

HOVER_PX: Final = 6
"""Width of the columns that the pointer reads: a hand is no finer."""

MOST_READINGS: Final = 200

_SAID: Final = {
    "execution": "executes",
    "blocked": "waits for a lock",
    "ready": "ready",
    "unknown": "not known",
    "isr": "in interrupts",
    "task": "in tasks",
    "switching": "switching",
    "held": "held",
    "wanted": "wanted",
}


def picture(
    lanes: Lanes, places: Sequence[Place], start_ns: int, end_ns: int, sheet: Sheet, rows: int
) -> dict[str, Any]:
    """The window as a plotly layout image; lanes that are not in `places` stay transparent."""
    pixels: Pixels = np.zeros((rows, sheet.columns), np.uint8)
    edges = column_edges(start_ns, end_ns, sheet.columns)
    for place in places:
        for states, stack in _stacks(place):
            shares = [
                share_in(track, place.lane.key, edges) if track else np.zeros(sheet.columns)
                for track in (lanes.track(place.lane, state) for state in states)
            ]
            paint(pixels, np.array(shares), stack)
        if place.lane.kind == "queue":
            full = lanes.levels.full[place.lane.key]
            mean = lanes.levels.mean(place.lane.key, edges) / full
            most = lanes.levels.most(place.lane.key, edges) / full
            paint_levels(pixels, mean, most, place.baseline, place.block)
    return {
        **_sources(pixels, sheet),
        "xref": "x",
        "yref": "y",
        "x": start_ns,
        "y": 0,
        "sizex": end_ns - start_ns,
        "sizey": rows,
        "sizing": "stretch",
        "layer": "below",
    }


def _sources(pixels: Pixels, sheet: Sheet) -> dict[str, str]:
    """The pixels in the sheet's colours; in those of both schemes where the browser chooses."""
    if sheet.scheme != "css":
        return {"source": as_uri(png(pixels, colours(sheet.palette)))}
    light, dark = (as_uri(png(pixels, colours(palette))) for palette in (LIGHT, DARK))
    return {"source": light, "dark": dark}


def _stacks(place: Place) -> list[tuple[tuple[str, ...], Stack]]:
    """(tracks, stack) of a lane; a lock's are two, side by side: held below, wanted above."""
    states = DRAWN[place.lane.kind]
    if place.lane.kind == "queue":
        return [(states[1:], Stack(("unknown",), place.baseline, place.block))]
    if place.lane.kind == "lock":
        half = max(2, place.block // 2)
        return [
            (states[:1], Stack(("held",), place.baseline, half)),
            (states[1:], Stack(("wanted",), place.baseline - half, half)),
        ]
    painted = tuple("execution" if state == "task" else state for state in states)
    if place.lane.idle:
        painted = tuple("idle" if state == "execution" else state for state in painted)
    return [(states, Stack(painted, place.baseline, place.block))]


def readings(
    lanes: Lanes, place: Place, start_ns: int, end_ns: int, columns: int
) -> dict[str, Any]:
    """An invisible line along a lane that tells the time of each state around the pointer.

    A state that does not occur in the window is not told of.
    """
    edges = column_edges(start_ns, end_ns, min(MOST_READINGS, max(1, columns // HOVER_PX)))
    if place.lane.kind == "queue":
        return _level_readings(lanes.levels, place, edges)
    tracks = [(state, lanes.track(place.lane, state)) for state in DRAWN[place.lane.kind]]
    times = [(state, time_in(track, place.lane.key, edges)) for state, track in tracks if track]
    told = [(state, time) for state, time in times if time.any()] or times[:1]
    seconds = np.stack([time / NS_PER_S for _, time in told], axis=1).astype(np.float32)
    said = "<br>".join(
        f"{_SAID[state]} %{{customdata[{i}]:.3~s}}s" for i, (state, _) in enumerate(told)
    )
    return _line(place, edges, seconds, said)


def _level_readings(levels: Levels, place: Place, edges: Integers) -> dict[str, Any]:
    key = place.lane.key
    told = np.stack([levels.mean(key, edges), levels.most(key, edges)], axis=1)
    depth = f" of {levels.depth[key]}" if key in levels.depth else ""
    said = f"%{{customdata[0]:.3~g}} items on average<br>at most %{{customdata[1]:d}}{depth}"
    return _line(place, edges, told.astype(np.float32), said)


def _line(place: Place, edges: Integers, told: NDArray[np.float32], said: str) -> dict[str, Any]:
    width = (edges[-1] - edges[0]) / (len(edges) - 1)
    return {
        "type": "scatter",
        "mode": "lines",
        "line": {"width": 0, "color": "rgba(0,0,0,0)"},
        "x0": float(edges[0] + width / 2),
        "dx": float(width),
        "y": packed(np.full(len(edges) - 1, place.baseline - place.block / 2, np.float32)),
        "customdata": packed(told),
        "hovertemplate": f"<b>{inert(place.lane.name).replace('%', '&#37;')}</b>"
        f"<br>of {duration(width)}:<br>{said}<extra></extra>",
    }
