"""Columns of shares as a picture: one byte a pixel, written as a PNG with a colour table.

A picture costs the browser one element however much happens in the window, and compresses well.
"""

import base64
import struct
import zlib
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from tracelens.drawing.palette import Palette, rgb

Shares = npt.NDArray[np.float64]
Pixels = npt.NDArray[np.uint8]

PAINTED: Final = (
    "execution",
    "idle",
    "blocked",
    "ready",
    "isr",
    "switching",
    "held",
    "wanted",
    "unknown",
    "items",
    "most",
    "late",
)
"""States that occur in columns; a state's place gives its two entries in the colour table."""

_OUTLINED: Final = {"idle", "blocked", "held", "wanted"}
_PALE: Final = {"blocked": "wanted"}
"""An outlined band is filled with the pale tone, so that it reads the same at any zoom."""


@dataclass(frozen=True, slots=True)
class Stack:
    """Where shares are stacked: `states` from the baseline up, `height` pixels for a full share."""

    states: tuple[str, ...]
    baseline: int
    height: int


def heights(shares: Shares, height: int) -> npt.NDArray[np.int64]:
    """Top of each state in each column, in pixels above the baseline (rows as in `shares`).

    A share is rounded to whole pixels as part of the stack, so that the tops are right within half
    a pixel; what occurs at all gets one pixel, even where that makes the stack a pixel too high.
    """
    exact = np.rint(np.cumsum(shares, axis=0) * height).astype(np.int64)
    own = np.diff(exact, axis=0, prepend=0)
    own = np.where((shares > 0) & (own < 1), 1, own)
    return np.asarray(np.minimum(np.cumsum(own, axis=0), height))


def paint(pixels: Pixels, shares: Shares, stack: Stack) -> None:
    """Paint one stack into `pixels` (rows from the top), one pixel column a column of shares."""
    tops = heights(shares, stack.height)
    above = np.arange(stack.height)[:, None]
    columns = np.arange(shares.shape[1])[None, :]
    area = pixels[stack.baseline - stack.height : stack.baseline][::-1]
    floor = np.zeros(shares.shape[1], np.int64)
    for state, top in zip(stack.states, tops, strict=True):
        inside = (above >= floor) & (above < top)
        code = 1 + 2 * PAINTED.index(state)
        area[inside] = code
        if state in _OUTLINED:
            area[inside & (above == top - 1)] = code + 1
        elif state == "ready":
            area[inside & ((above - columns) % 4 == 0)] = code + 1
        elif state == "unknown":
            area[inside & ((above + columns) % 5 == 0)] = code + 1
        floor = top


def paint_levels(pixels: Pixels, mean: Shares, most: Shares, baseline: int, height: int) -> None:
    """Paint a filling level: its mean up to where it stands, above it the most in that column.

    Both are shares of `height`; what is not nothing gets a pixel. A column that is ever full is
    marked at its top.
    """
    above = np.arange(height)[:, None]
    area = pixels[baseline - height : baseline][::-1]
    inner, outer = (
        np.maximum(np.rint(np.minimum(shares, 1) * height), shares > 0) for shares in (mean, most)
    )
    for state, inside in (
        ("most", above < outer),
        ("items", above < inner),
        ("late", (above >= height - 2) & (most >= 1)),
    ):
        area[inside] = 1 + 2 * PAINTED.index(state)
    edge = (above == outer - 1) & (most < 1)
    area[edge] = 2 + 2 * PAINTED.index("items")


def colours(palette: Palette) -> list[tuple[int, int, int]]:
    """The colour table: the paper, shown as transparent, then fill and edge of each state."""
    table = [rgb(palette.paper)]
    for state in PAINTED:
        table.append(rgb(palette.states[_PALE.get(state, state)].fill))
        table.append(rgb(palette.states[state].edge))
    return table


def png(pixels: Pixels, table: list[tuple[int, int, int]]) -> bytes:
    """An indexed PNG; index 0 is transparent (ISO/IEC 15948, clauses 5, 11.2 and 11.3.2)."""
    height, width = pixels.shape
    rows = np.zeros((height, width + 1), np.uint8)  # each row begins with its filter type, none
    rows[:, 1:] = pixels
    return b"".join(
        (
            b"\x89PNG\r\n\x1a\n",
            _chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0)),
            _chunk(b"PLTE", bytes(part for colour in table for part in colour)),
            _chunk(b"tRNS", b"\0"),
            _chunk(b"IDAT", zlib.compress(rows.tobytes(), 6)),
            _chunk(b"IEND", b""),
        )
    )


def as_uri(picture: bytes) -> str:
    """A PNG as a data URI."""
    return "data:image/png;base64," + base64.b64encode(picture).decode()


def _chunk(kind: bytes, data: bytes) -> bytes:
    checksum = zlib.crc32(kind + data)
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", checksum)
