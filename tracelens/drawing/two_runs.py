"""Two runs on one scale: the same lanes in both, one window, counted from a moment of each.

Tables in, plotly figures as dicts out.
"""

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Any, Final

from tracelens.drawing.axis import Ticks, round_step, ticks
from tracelens.drawing.lanes import Lane
from tracelens.drawing.moved import Moved, outlined
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import BOTTOM_PX, CAPTION_PX, TOP_PX, Sheet, remark, unit
from tracelens.drawing.swimlanes import schedule
from tracelens.units import NS_PER_MS, NS_PER_S, NS_PER_US

_LANE_PX: Final = 22
_TICK_PX: Final = 90
_UNITS: Final = ((NS_PER_S, "s"), (NS_PER_MS, "ms"), (NS_PER_US, "µs"), (1, "ns"))

Figure = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Matched:
    """Lanes that both runs have, as each run numbers them, and the names that one alone has."""

    a: tuple[Lane, ...]
    b: tuple[Lane, ...]
    only_a: tuple[str, ...]
    only_b: tuple[str, ...]


def match(a: Run, b: Run, kinds: Collection[str] | None = None) -> Matched:
    """The lanes of both by kind and name, in the order of the first run; idle tasks left out.

    `kinds` are those that are wanted; None for all.
    """
    mine, yours = (
        {
            (lane.kind, lane.name): lane
            for lane in run.lanes.lanes
            if not lane.idle and (kinds is None or lane.kind in kinds)
        }
        for run in (a, b)
    )
    both = [key for key in mine if key in yours]
    # The group of the first run holds for both: else headings would shift one against the other.
    return Matched(
        a=tuple(mine[key] for key in both),
        b=tuple(replace(yours[key], group=mine[key].group) for key in both),
        only_a=tuple(_called(lane) for key, lane in mine.items() if key not in yours),
        only_b=tuple(_called(lane) for key, lane in yours.items() if key not in mine),
    )


def _called(lane: Lane) -> str:
    """A core may have nothing but a number for a name."""
    return lane.label if lane.kind == "core" else lane.name


def height(matched: Matched) -> int:
    """Pixels that a schedule of all matched lanes takes."""
    groups = len({lane.group for lane in matched.a})
    lanes = max(1, len(matched.a))
    return TOP_PX + BOTTOM_PX + groups * CAPTION_PX + lanes * _LANE_PX


def one_side(
    run: Run,
    lanes: tuple[Lane, ...],
    window: tuple[int, int],
    at_ns: int,
    sheet: Sheet,
    moved: Moved | None = None,
) -> Figure:
    """The schedule of one run over `window`, [start, end) in ns after the moment `at_ns` of it.

    The axis counts from that moment; where the run begins or ends inside the window, a line says
    so. Jobs that `moved` are outlined.
    """
    shown = replace(run, lanes=replace(run.lanes, lanes=lanes))
    start, end = window
    figure, arrangement = schedule(shown, start + at_ns, end + at_ns, sheet)
    made = figure["layout"]
    if moved is not None:
        shapes, words = outlined(moved, run, arrangement.places, start + at_ns, end + at_ns, sheet)
        made["shapes"] += shapes
        made["annotations"] += words
    axis = relative_ticks(start, end, sheet.columns)
    made["xaxis"] |= {
        "tickmode": "array",
        "tickvals": [at + at_ns for at in axis.at],
        "ticktext": axis.labels,
    }
    made["annotations"][0] = unit(axis.title, sheet.palette)
    for at, word, side in ((0, "the run begins", "left"), (run.span_ns, "the run ends", "right")):
        if start + at_ns < at < end + at_ns:
            made["shapes"].append(_line(at, sheet))
            made["annotations"].append(
                remark(word, sheet.palette, x=at, xref="x", y=1, yanchor="top", xanchor=side)
            )
    if start < 0 < end:
        made["shapes"].append(_line(at_ns, sheet) | {"layer": "below"})
    return figure


def relative_ticks(start_ns: int, end_ns: int, length_px: int) -> Ticks:
    """Ticks for a window that may begin before the moment from which it counts."""
    if start_ns >= 0:
        return ticks(start_ns, end_ns, length_px, _TICK_PX)
    width = end_ns - start_ns
    step = round_step(width / max(1, length_px // _TICK_PX))
    scale, name = next((u for u in _UNITS if width >= u[0]), _UNITS[-1])
    at = tuple(range((start_ns - width) // step * step, end_ns + width + 1, step))
    decimals = max(0, len(str(scale)) - len(str(step)))
    return Ticks(at, tuple(f"{t / scale:.{decimals}f}".replace("-", "−") for t in at), name)


def _line(at_ns: int, sheet: Sheet) -> Figure:
    return {
        "type": "line",
        "yref": "paper",
        "x0": at_ns,
        "x1": at_ns,
        "y0": 0,
        "y1": 1,
        "line": {"width": 1, "color": sheet.palette.text},
    }
