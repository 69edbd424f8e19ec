"""Where a value of a figure lies on its sheet, and the axes: grid, ticks and their labels."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from tracelens.drawing.svg.elements import element, words
from tracelens.drawing.svg.values import Numbers, numbers

DASHES: Final = {"solid": None, "dash": "6 4", "dot": "1.5 3", "dashdot": "6 3 1.5 3"}
"""Plotly's name of a dash → the lengths of strokes and gaps in pixels."""

MIDDLE: Final = 0.35
"""How far below its middle the baseline of a line of text lies, in font sizes."""


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis: `low` and `high` are the values at the pixels `first` and `last`."""

    low: float
    high: float
    first: float
    last: float
    drawn: dict[str, Any]

    def at(self, value: float) -> float:
        """The pixel of a value."""
        return self.first + (value - self.low) / (self.high - self.low) * (self.last - self.first)

    def all_at(self, values: Numbers) -> Numbers:
        """The pixels of many values."""
        scale = (self.last - self.first) / (self.high - self.low)
        return self.first + (values - self.low) * scale

    def length(self, extent: float) -> float:
        """The pixels of a difference of values."""
        return abs(extent / (self.high - self.low) * (self.last - self.first))

    def ticks(self) -> Iterator[tuple[float, str]]:
        """(pixel, label) of each tick within the range; the label is a figure's words."""
        low, high = sorted((self.low, self.high))
        at = numbers(self.drawn.get("tickvals", ()))
        labels = self.drawn.get("ticktext", [f"{value:g}" for value in at])
        for value, label in zip(at, labels, strict=True):
            if low <= value <= high:
                yield self.at(float(value)), str(label)


@dataclass(frozen=True, slots=True)
class Frame:
    """The sheet of one figure in pixels: the plot area, its axes, and the size of text."""

    left: float
    top: float
    width: float
    height: float
    axes: dict[str, Axis]
    font_px: float

    @classmethod
    def of(cls, layout: dict[str, Any], width: int, height: int) -> "Frame":
        """The frame of a layout drawn `width` × `height` pixels large."""
        margin = layout["margin"]
        left, top = float(margin["l"]), float(margin["t"])
        across, down = width - left - margin["r"], height - top - margin["b"]
        axes = {}
        for name, drawn in layout.items():
            if name.startswith(("xaxis", "yaxis")):
                first, last = drawn.get("domain", (0, 1))
                low, high = drawn["range"]
                ends = (
                    (left + across * first, left + across * last)
                    if name[0] == "x"
                    else (top + down * (1 - first), top + down * (1 - last))
                )
                axes[name[0] + name[5:]] = Axis(low, high, *ends, drawn)
        return cls(left, top, across, down, axes, float(layout["font"]["size"]))

    def x(self, value: float, reference: str) -> float:
        """The pixel of a place across: a value of an axis, or a fraction of the plot area."""
        return self.left + self.width * value if reference == "paper" else self.axes["x"].at(value)

    def y(self, value: float, reference: str) -> float:
        """The pixel of a place down."""
        if reference == "paper":
            return self.top + self.height * (1 - value)
        return self.axes["y"].at(value)


def grid(frame: Frame) -> list[str]:
    """The lines of every axis that shows them."""
    made = []
    for name, axis in frame.axes.items():
        if not axis.drawn.get("showgrid"):
            continue
        ends = {"y1": frame.top, "y2": frame.top + frame.height}
        if name[0] == "y":
            across = frame.axes["x"]
            ends = {"x1": across.first, "x2": across.last}
        for pixel, _ in axis.ticks():
            here = {f"{name[0]}1": pixel, f"{name[0]}2": pixel}
            look = {"color": axis.drawn["gridcolor"], "dash": axis.drawn.get("griddash", "solid")}
            made.append(element("line", ends | here | stroke(look | {"width": 1})))
    return made


def labels(frame: Frame) -> list[str]:
    """The ticks and tick labels of every axis."""
    made = []
    foot = frame.top + frame.height
    for name, axis in frame.axes.items():
        tick = axis.drawn.get("ticklen", 0) if axis.drawn.get("ticks") == "outside" else 0
        for pixel, label in axis.ticks():
            if name[0] == "y":
                where = frame.left - axis.drawn.get("ticklabelstandoff", 0)
                made.append(text(label, where, pixel + MIDDLE * frame.font_px, "end"))
                continue
            if tick:
                ends = {"x1": pixel, "x2": pixel, "y1": foot, "y2": foot + tick}
                made.append(element("line", ends | {"stroke": axis.drawn["tickcolor"]}))
            made.append(text(label, pixel, foot + 4 + 1.05 * frame.font_px, "middle"))
    return made


def text(
    said: str, x: float, y: float, anchor: str, colour: str | None = None, px: float | None = None
) -> str:
    """One line of a figure's words, its baseline at `y`."""
    look = {"x": x, "y": y, "text-anchor": anchor, "fill": colour, "font-size": px}
    return element("text", look, words(said))


def stroke(line: dict[str, Any]) -> dict[str, Any]:
    """Plotly's properties of a line as attributes; none for a line of no width."""
    if not line["width"]:
        return {}
    return {
        "stroke": line["color"],
        "stroke-width": line["width"],
        "stroke-dasharray": DASHES[line.get("dash", "solid")],
    }
