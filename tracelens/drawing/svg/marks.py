"""The signs that stand for points, as paths: arrow heads, rings, crosses, diamonds, dots."""

import math
from collections.abc import Callable
from typing import Final

from tracelens.drawing.svg.elements import number

Sign = Callable[[float, float, float], str]
"""x, y and size in pixels → data of a path."""


def _triangle_up(x: float, y: float, size: float) -> str:
    r = size / 2
    wide = r * 2 / math.sqrt(3)
    return _polygon((x - wide, y + r / 2), (x + wide, y + r / 2), (x, y - r))


def _triangle_down(x: float, y: float, size: float) -> str:
    r = size / 2
    wide = r * 2 / math.sqrt(3)
    return _polygon((x - wide, y - r / 2), (x + wide, y - r / 2), (x, y + r))


def _diamond(x: float, y: float, size: float) -> str:
    r = size * 0.65
    return _polygon((x - r, y), (x, y - r), (x + r, y), (x, y + r))


def _circle(x: float, y: float, size: float) -> str:
    r = number(size / 2)
    across = number(size)
    return f"M{number(x - size / 2)} {number(y)}a{r} {r} 0 1 0 {across} 0a{r} {r} 0 1 0 -{across} 0"


def _cross(x: float, y: float, size: float) -> str:
    r = size / 2
    corner, across = f"{number(x - r)} {number(y - r)}", number(size)
    return f"M{corner}l{across} {across}m-{across} 0l{across} -{across}"


def _upright(x: float, y: float, size: float) -> str:
    return f"M{number(x)} {number(y - size * 0.7)}v{number(size * 1.4)}"


def _polygon(*corners: tuple[float, float]) -> str:
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in corners) + "Z"


FILLED: Final[dict[str, Sign]] = {
    "circle": _circle,
    "triangle-up": _triangle_up,
    "triangle-down": _triangle_down,
    "diamond": _diamond,
}
"""Plotly's name of a symbol → its outline, to be filled."""

STROKED: Final[dict[str, Sign]] = {
    "circle-open": _circle,
    "x": _cross,
    "x-thin": _cross,
    "line-ns": _upright,
}
"""Symbols that are lines; 'x', which plotly fills, is drawn with a thick one."""

THICK_PX: Final = 2.5
