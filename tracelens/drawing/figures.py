"""What the figures of the panels share: margins, axes, points that lead to a place, step lines.

Tables in, plotly figures as dicts out. A figure that has nothing to show comes as None, with a
sentence that says what is missing and how to get it.
"""

from typing import Any, Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from tracelens.drawing.axis import ticks
from tracelens.drawing.packing import packed
from tracelens.drawing.palette import Palette
from tracelens.drawing.sheet import LEFT_PX, RIGHT_PX, Sheet, layout, remark
from tracelens.numbers import duration
from tracelens.units import NS_PER_S

Figure = dict[str, Any]
Shown = tuple[Figure | None, str]
"""A figure, or None; and the sentence that stands in its place, or ''."""

MARGIN_PX: Final = 64
TOP_PX: Final = 22
MOST_TICKS: Final = 10

DOT_PX: Final = 4
"""Dots closer than this, across and up, are drawn as one."""


def columns(sheet: Sheet, share: float = 1.0, margin: int = MARGIN_PX) -> int:
    """Pixel columns of the plot area of a panel, or of a share of it."""
    return max(50, round(share * (sheet.width - margin - RIGHT_PX)))


def rows(sheet: Sheet) -> int:
    """Pixel rows of the plot area of a panel."""
    return max(30, sheet.height - TOP_PX - 24)


def over_time(
    sheet: Sheet, start_ns: int, end_ns: int, share: float = 1.0, margin: int = MARGIN_PX
) -> Figure:
    """The layout of a panel whose first `share` of the width is the time [start_ns, end_ns)."""
    width = LEFT_PX + RIGHT_PX + columns(sheet, share, margin)
    made = layout(Sheet(width, sheet.height, sheet.scheme), start_ns, end_ns)
    made["margin"] |= {"l": margin, "t": TOP_PX}
    made["xaxis"] |= {"fixedrange": True, "domain": [0, share]}
    return made


def caption(text: str, palette: Palette, **where: Any) -> Figure:
    """What the y axis counts, above its upper end; left-aligned with the labels."""
    at = {"x": 0, "xshift": -MARGIN_PX + 8, "y": 1, "yshift": 5, **where}
    return remark(text, palette, xanchor="left", yanchor="bottom", **at)


def time_axis(top_ns: int, sheet: Sheet, share: float = 1.0) -> tuple[Figure, str]:
    """A y axis of durations from 0, in seconds inside, with round ticks; and its unit."""
    height = round(share * rows(sheet))
    scale = ticks(0, max(1, top_ns), height, spacing_px=max(26, height // MOST_TICKS))
    return {
        "range": [0, max(1, top_ns) / NS_PER_S],
        **ruled(sheet.palette),
        **scale.layout(),
        "tickvals": [at / NS_PER_S for at in scale.at],
    }, scale.title


def share_axis(palette: Palette) -> Figure:
    """An axis of per cent."""
    return {
        "range": [0, 102],
        "tickmode": "array",
        "tickvals": [0, 50, 100],
        **ruled(palette),
    }


def ruled(palette: Palette) -> Figure:
    """An axis that stands still, with a faint grid."""
    return {
        "fixedrange": True,
        "showgrid": True,
        "gridcolor": palette.rule,
        "griddash": "dot",
        "zeroline": False,
        "ticklabelstandoff": 8,
    }


def line(at_y: float, state: str, palette: Palette, **where: Any) -> Figure:
    """A dashed horizontal line across the plot area: a deadline, a depth, a size."""
    return {
        "type": "line",
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "y0": at_y,
        "y1": at_y,
        "line": {"width": 1.5, "dash": "dash", "color": palette.states[state].edge},
        **where,
    }


def with_deadline(made: Figure, deadline_ns: int, palette: Palette, share: float = 1.0) -> None:
    """Draw a deadline across a figure of times, named at the end of `share` of the plot area."""
    at = deadline_ns / NS_PER_S
    made["shapes"] = [line(at, "late", palette)]
    text = f"deadline {duration(deadline_ns)}"
    made["annotations"].append(remark(text, palette, x=share, y=at, yref="y", yanchor="bottom"))


def dots(
    at: NDArray[Any],
    values: NDArray[Any],
    leads: list[Any],
    symbol: str,
    state: str,
    palette: Palette,
) -> Figure:
    """Points. `leads` has a job id or a place of each: a plain list, since clicks bring it back."""
    return {
        "type": "scatter",
        "mode": "markers",
        "x": packed(at),
        "y": packed(values.astype(np.float32)),
        "customdata": leads,
        "marker": {
            "symbol": symbol,
            "size": 5 if symbol == "circle" else 7,
            "color": palette.states[state].edge,
            "opacity": 0.75 if symbol == "circle" else 1,
        },
        "cliponaxis": False,
        "hoverinfo": "text",
    }


def ring(at: list[float], values: list[float], palette: Palette) -> Figure:
    """Around the point that the reader chose."""
    return {
        "type": "scatter",
        "mode": "markers",
        "x": at,
        "y": values,
        "marker": {
            "symbol": "circle-open",
            "size": 14,
            "color": palette.text,
            "line": {"width": 2},
        },
        "hoverinfo": "skip",
    }


def largest(frame: pl.DataFrame, column: str) -> int:
    """The largest value of a column of integers; 0 if there is none."""
    return frame.select(pl.col(column).max()).item() or 0


def thinned(
    points: pl.DataFrame, x: str, y: str, cell_x: int, cell_y: float, *by: str
) -> pl.DataFrame:
    """Of the points that fall into one cell the highest; in order of `x`. Apart by columns `by`."""
    cells = points.with_columns(
        _x=pl.col(x) // max(1, cell_x), _y=(pl.col(y) / (cell_y or 1)).floor()
    )
    return (
        cells.sort(y, descending=True, maintain_order=True)
        .unique([*by, "_x", "_y"], keep="first", maintain_order=True)
        .sort(x, maintain_order=True)
        .drop("_x", "_y")
    )


def outline(
    at_ns: NDArray[np.int64], values: NDArray[np.float64], edges: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64] | None]:
    """A step function as it is drawn in columns with the given `edges`.

    `values[i]` holds from `at_ns[i]`, ascending, until the next. Returns where the steps are, the
    highest and, where a column has several values, the lowest in each; None for the lowest where
    every change can be drawn.
    """
    first, last = (int(np.searchsorted(at_ns, edge)) for edge in (edges[0], edges[-1]))
    before = values[first - 1] if first else np.nan
    if last - first <= 2 * len(edges):
        x = np.concatenate((edges[:1], at_ns[first:last], edges[-1:]))
        y = np.concatenate(([before], values[first:last], values[last - 1 : last] if last else []))
        return x, y if len(y) == len(x) else np.append(y, np.nan), None
    changes = np.searchsorted(at_ns, edges)
    carried = np.where(changes[:-1] > 0, values[np.maximum(changes[:-1] - 1, 0)], np.nan)
    # The last column ends at its edge, and one without a change may stand behind the last change.
    until = np.append(values[:last], np.nan)
    several = changes[1:] > changes[:-1]
    high = np.where(several, np.fmax(np.fmax.reduceat(until, changes[:-1]), carried), carried)
    low = np.where(several, np.fmin(np.fmin.reduceat(until, changes[:-1]), carried), carried)
    return edges, np.append(high, high[-1:]), np.append(low, low[-1:])


def banded(
    at_ns: NDArray[Any],
    high: NDArray[np.float64],
    low: NDArray[np.float64] | None,
    name: str,
    palette: Palette,
) -> list[Figure]:
    """An `outline` as a line at the highest, with a band down to the lowest if there is one."""
    top = {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "x": packed(at_ns),
        "y": packed(high.astype(np.float32)),
        "line": {"shape": "hv", "width": 1.5, "color": palette.states["execution"].edge},
        "hoverinfo": "y",
    }
    return [top] if low is None else [area(at_ns, low[:-1], high[:-1], palette), top]


def area(
    edges: NDArray[Any], low: NDArray[np.float64], high: NDArray[np.float64], palette: Palette
) -> Figure:
    """The area between two step functions of windows with the given `edges`; none where NaN."""
    corners = np.repeat(edges, 2)[1:-1]
    up, down = (np.repeat(np.nan_to_num(part), 2) for part in (high, low))
    return {
        "type": "scatter",
        "mode": "lines",
        "fill": "toself",
        "fillcolor": palette.states["held"].fill,
        "line": {"width": 0},
        "x": packed(np.concatenate((corners, corners[::-1]))),
        "y": packed(np.concatenate((up, down[::-1])).astype(np.float32)),
        "hoverinfo": "skip",
    }
