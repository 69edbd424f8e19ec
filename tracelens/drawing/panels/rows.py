"""Several things over the same time, one above the other, each with its name at the left."""

from collections.abc import Sequence
from typing import Final

from tracelens.drawing.figures import Figure, caption, columns, over_time, rows, share_axis
from tracelens.drawing.packing import inert
from tracelens.drawing.sheet import Sheet, remark

NAMES_PX: Final = 122
"""The margin at the left, with the names."""

LONGEST_NAME: Final = 14
GAP_PX: Final = 5
MIDDLE_PX: Final = 60
ENDS_PX: Final = 34
"""On a lower row there is no label in the middle, or none at all."""


def width(sheet: Sheet) -> int:
    """Pixel columns of the plot area."""
    return columns(sheet, margin=NAMES_PX)


def stacked(
    sheet: Sheet, start_ns: int, end_ns: int, names: Sequence[str], what: str, said: str
) -> tuple[Figure, list[str]]:
    """A layout with a row from 0 to 100 % for each name, the first on top; and its y axes.

    `what` is what the rows count, `said` a remark on how.
    """
    palette = sheet.palette
    made = over_time(sheet, start_ns, end_ns, margin=NAMES_PX)
    made["hoverdistance"] = -1  # a curve near 0 is read from anywhere above it
    made["annotations"] += [
        caption(what, palette, xshift=-NAMES_PX + 8),
        remark(said, palette, x=1, y=1, yanchor="bottom", yshift=3),
    ]
    count = max(1, len(names))
    gap = min(GAP_PX / rows(sheet), 0.2 / count) if count > 1 else 0
    height = (1 - gap * (count - 1)) / count
    axes = []
    for number, name in enumerate(names):
        low = 1 - number * (height + gap) - height
        key = "" if number == count - 1 else str(count - number)  # the time axis is at the last
        axes.append(f"y{key}")
        made[f"yaxis{key}"] = {
            **share_axis(palette),
            "range": [0, 103],
            "domain": [max(0, low), min(1, low + height)],
            "anchor": "x",
        }
        made[f"yaxis{key}"] |= _ticks(height * rows(sheet), last=number == count - 1)
        made["annotations"].append(
            remark(
                label(name), palette,
                x=0, xshift=-30, y=low + height / 2, yanchor="middle",
                font={"size": 12, "color": palette.text},
            )
        )  # fmt: skip
    return made, axes


def _ticks(height_px: float, *, last: bool) -> Figure:
    """The 0 of a row would stand in the 100 of the next."""
    if height_px < ENDS_PX:
        return {"tickvals": [50], "ticktext": [""]}
    middle = ["50"] if height_px >= MIDDLE_PX else [""]
    return {"tickvals": [0, 50, 100], "ticktext": ["0" if last else "", *middle, "100"]}


def label(name: str) -> str:
    """A name as the margin shows it; what does not fit is cut off at the end."""
    return inert(name if len(name) <= LONGEST_NAME else f"{name[: LONGEST_NAME - 1]}…")
