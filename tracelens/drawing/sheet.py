"""Where things stand on the schedule's sheet, in pixels from the top of the plot area."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from tracelens.drawing.axis import ticks
from tracelens.drawing.lanes import CAPTIONS, Lane
from tracelens.drawing.packing import inert
from tracelens.drawing.palette import PALETTES, Palette, Scheme

LEFT_PX: Final = 176
RIGHT_PX: Final = 18
TOP_PX: Final = 6
BOTTOM_PX: Final = 24
"""Margins of every figure that has the run's time on its x axis, so that they line up."""

LEAST_PITCH_PX: Final = 18
MOST_PITCH_PX: Final = 40
CAPTION_PX: Final = 15
LABEL_CHARACTERS: Final = 26

FONT: Final = "system-ui, 'Liberation Sans', 'DejaVu Sans', sans-serif"


@dataclass(frozen=True, slots=True)
class Sheet:
    """Size of a figure in CSS pixels, margins included, and the colour scheme."""

    width: int
    height: int
    scheme: Scheme = "light"

    @property
    def columns(self) -> int:
        """Pixel columns of the plot area."""
        return max(50, self.width - LEFT_PX - RIGHT_PX)

    @property
    def rows(self) -> int:
        """Pixel rows of the plot area."""
        return max(30, self.height - TOP_PX - BOTTOM_PX)

    @property
    def palette(self) -> Palette:
        """The colours of the scheme."""
        return PALETTES[self.scheme]


@dataclass(frozen=True, slots=True)
class Place:
    """One lane on the sheet: its baseline, the height of a full block, and of the whole lane."""

    lane: Lane
    baseline: int
    block: int
    pitch: int


@dataclass(frozen=True, slots=True)
class Arrangement:
    """The lanes that fit, and the group headings as (text, y). `first` and `total` count lanes.

    `folded` are lanes that share one line, whose text stands at `folded_at`.
    """

    places: tuple[Place, ...]
    captions: tuple[tuple[str, int], ...]
    first: int
    total: int
    folded: tuple[Lane, ...] = ()
    folded_at: int = 0


def arrange(
    lanes: Sequence[Lane], top: int, rows: int, folded: tuple[Lane, ...] = ()
) -> Arrangement:
    """Lay out as many lanes as fit from the lane numbered `top` on, evenly; one line for `folded`.

    `top` is moved up where the lanes below it would leave the sheet half empty.
    """
    rows -= CAPTION_PX if folded else 0
    first = min(top, max(0, len(lanes) - _fitting(lanes[::-1], rows)))
    shown = lanes[first : first + _fitting(lanes[first:], rows)]
    groups = len({lane.group for lane in shown})
    pitch = min(MOST_PITCH_PX, (rows - groups * CAPTION_PX) // max(1, len(shown)))
    places: list[Place] = []
    captions: list[tuple[str, int]] = []
    y = 0
    for lane in shown:
        if not places or places[-1].lane.group != lane.group:
            captions.append((CAPTIONS[lane.group], y + CAPTION_PX // 2 + 2))
            y += CAPTION_PX
        y += pitch
        places.append(Place(lane, baseline=y - 2, block=round(pitch * 0.68), pitch=pitch))
    return Arrangement(
        tuple(places), tuple(captions), first, len(lanes), folded, y + CAPTION_PX // 2 + 2
    )


def _fitting(lanes: Sequence[Lane], rows: int) -> int:
    used = 0
    for count, lane in enumerate(lanes):
        used += LEAST_PITCH_PX + (
            CAPTION_PX if not count or lanes[count - 1].group != lane.group else 0
        )
        if used > rows:
            return max(1, count)
    return len(lanes)


def layout(sheet: Sheet, start_ns: int, end_ns: int) -> dict[str, Any]:
    """The layout that all figures over the run's time share: margins, type, a round time axis."""
    palette = sheet.palette
    axis = ticks(start_ns, end_ns, sheet.columns)
    return {
        "autosize": True,
        "margin": {"l": LEFT_PX, "r": RIGHT_PX, "t": TOP_PX, "b": BOTTOM_PX},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": FONT, "size": 12, "color": palette.text},
        "showlegend": False,
        "hovermode": "closest",
        "hoverlabel": {
            "bgcolor": palette.paper,
            "bordercolor": palette.quiet_text,
            "font": {"color": palette.text, "size": 12, "family": FONT},
            "align": "left",
        },
        "xaxis": {
            "range": [start_ns, end_ns],
            "showgrid": True,
            "gridcolor": palette.rule,
            "griddash": "dot",
            "zeroline": False,
            "ticks": "outside",
            "ticklen": 4,
            "tickcolor": palette.quiet_text,
            **axis.layout(),
        },
        "yaxis": {
            "fixedrange": True,
            "zeroline": False,
            "showgrid": False,
            "ticks": "",
            "ticklabelstandoff": 8,
        },
        "annotations": [unit(axis.title, palette)],
        "shapes": [],
    }


def unit(title: str, palette: Palette) -> dict[str, Any]:
    """The unit of a time axis, at its left end in line with the tick labels."""
    return remark(title, palette, x=0, xshift=-26, y=0, yshift=-5, yanchor="top")


def remark(text: str, palette: Palette, **where: Any) -> dict[str, Any]:
    """A few quiet words on a figure; by default right-aligned, in fractions of the plot area."""
    return {
        "text": text,
        "xref": "paper",
        "yref": "paper",
        "xanchor": "right",
        "showarrow": False,
        "font": {"size": 12, "color": palette.quiet_text},
        **where,
    }


def lane_label(lane: Lane) -> str:
    """The lane's name for the margin; what does not fit is cut off at the end."""
    label = lane.label
    return inert(label if len(label) <= LABEL_CHARACTERS else label[: LABEL_CHARACTERS - 1] + "…")
