"""What the figures of the panels share: margins, axes, points that lead to a place, step lines.

Tables in, plotly figures as dicts out. A figure that has nothing to show comes as None, with a
sentence that says what is missing and how to get it.
"""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from tracelens.drawing.axis import ticks
from tracelens.drawing.packing import packed
from tracelens.drawing.palette import Palette
from tracelens.drawing.sheet import LEFT_PX, RIGHT_PX, Sheet, layout, remark
from tracelens.units import NS_PER_S

Figure = dict[str, Any]
Shown = tuple[Figure | None, str]
"""A figure, or None; and the sentence that stands in its place, or ''."""

MARGIN_PX: Final = 64
TOP_PX: Final = 22

DOT_PX: Final = 4
"""Dots closer than this, across and up, are drawn as one."""

LINE_STATES: Final = ("execution", "late", "met", "backlog")
LINE_DASHES: Final = ("solid", "dash", "dot", "dashdot")


def columns(sheet: Sheet, share: float = 1.0) -> int:
    """Pixel columns of the plot area of a panel, or of a share of it."""
    return max(50, round(share * (sheet.width - MARGIN_PX - RIGHT_PX)))


def rows(sheet: Sheet) -> int:
    """Pixel rows of the plot area of a panel."""
    return max(30, sheet.height - TOP_PX - 24)


def over_time(sheet: Sheet, start_ns: int, end_ns: int, share: float = 1.0) -> Figure:
    """The layout of a panel whose first `share` of the width is the time [start_ns, end_ns)."""
    width = LEFT_PX + RIGHT_PX + columns(sheet, share)
    made = layout(Sheet(width, sheet.height, sheet.scheme), start_ns, end_ns)
    made["margin"] |= {"l": MARGIN_PX, "t": TOP_PX}
    made["xaxis"] |= {"fixedrange": True, "domain": [0, share]}
    return made


def caption(text: str, palette: Palette, **where: Any) -> Figure:
    """What the y axis counts, above its upper end; left-aligned with the labels."""
    at = {"x": 0, "xshift": -MARGIN_PX + 8, "y": 1, "yshift": 5, **where}
    return remark(text, palette, xanchor="left", yanchor="bottom", **at)


def time_axis(top_ns: int, sheet: Sheet, share: float = 1.0) -> tuple[Figure, str]:
    """A y axis of durations from 0, in seconds inside, with round ticks; and its unit."""
    scale = ticks(0, max(1, top_ns), round(share * rows(sheet)), spacing_px=26)
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


def legend(x: float = 0.12) -> Figure:
    """One line of names above the plot area."""
    return {"orientation": "h", "x": x, "y": 1, "yanchor": "bottom", "font": {"size": 12}}


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


def steps(
    at_ns: NDArray[Any], values: NDArray[Any], name: str, number: int, palette: Palette
) -> Figure:
    """A value that holds until the next one, as a line; `number` picks colour and dashes."""
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "x": packed(at_ns),
        "y": packed(values.astype(np.float32)),
        "line": {
            "shape": "hv",
            "width": 1.5,
            "color": palette.states[LINE_STATES[number % len(LINE_STATES)]].edge,
            "dash": LINE_DASHES[number % len(LINE_DASHES)],
        },
    }


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
