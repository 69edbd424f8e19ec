"""Names inside blocks, where they fit: beside the marks that stand on a block, never under them."""

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np

from tracelens.drawing.packing import inert, packed

CHARACTER_PX: Final = 6.6
"""Mean advance of a character in the labels inside blocks."""

LABEL_PX: Final = 12
"""Least height of a block with a label, so that those of two blocks never touch."""

MARGIN_PX: Final = 8
"""Free space of a label, both sides together."""


@dataclass(frozen=True, slots=True)
class Label:
    """A name (raw) for the block [low, high) around the row `middle` of the lane at `baseline`."""

    low: float
    high: float
    middle: float
    baseline: int
    text: str
    ink: str


def placed(
    labels: list[Label], marks: dict[int, list[float]], px_per_ns: float
) -> list[tuple[float, Label]]:
    """Where each label stands: the middle of the widest stretch of its block without a mark.

    `marks` are the moments of the marks by the baseline of their lane. A label that fits nowhere
    is left out.
    """
    ordered = {baseline: sorted(moments) for baseline, moments in marks.items()}
    found = []
    for label in labels:
        moments = ordered.get(label.baseline, [])
        inside = moments[bisect_right(moments, label.low) : bisect_left(moments, label.high)]
        low, high = max(
            pairwise([label.low, *inside, label.high]), key=lambda free: free[1] - free[0]
        )
        if len(label.text) * CHARACTER_PX + MARGIN_PX <= (high - low) * px_per_ns:
            found.append(((low + high) / 2, label))
    return found


def trace(found: list[tuple[float, Label]]) -> dict[str, Any]:
    """The labels as a text trace."""
    return {
        "type": "scatter",
        "mode": "text",
        "x": packed(np.array([at for at, _ in found])),
        "y": packed(np.array([label.middle for _, label in found], np.float32)),
        "text": [inert(label.text) for _, label in found],
        "textfont": {"size": 11, "color": [label.ink for _, label in found]},
        "hoverinfo": "skip",
        "cliponaxis": True,
    }
