"""One measure over the runs of a history: a dot a run, and the step or drift that was found.

Tables in, plotly figures as dicts out.
"""

from collections.abc import Mapping, Sequence
from typing import Any, Final, Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray

from tracelens.drawing.axis import round_step
from tracelens.drawing.figures import MARGIN_PX, TOP_PX, Figure, caption, columns, dots, rows, ruled
from tracelens.drawing.packing import inert, packed
from tracelens.drawing.palette import Palette
from tracelens.drawing.sheet import Sheet, layout, remark
from tracelens.history import wording
from tracelens.units import NS_PER_MS, NS_PER_S, NS_PER_US

By = Literal["order", "time"]
"""What the runs stand over: their number, or when they started."""

BOTTOM_PX: Final = 40
_TICK_PX: Final = 56
_TIMES: Final[tuple[tuple[str, float], ...]] = (
    ("s", NS_PER_S),
    ("ms", NS_PER_MS),
    ("µs", NS_PER_US),
    ("ns", 1),
)
_LONGEST: Final = 60
_MOST_KEYS: Final = 12


def course(
    points: pl.DataFrame,
    row: Mapping[str, Any],
    runs: Sequence[Mapping[str, Any]],
    by: By,
    sheet: Sheet,
) -> Figure:
    """The course of one measure. `points` is a table of `COURSE`, `row` its row of `TRENDS`.

    `runs` are the rows of `RUNS` of the same history. The step's line changes half way to the
    first run of the later level, which is named.
    """
    palette = sheet.palette
    by_run = {run["run"]: run for run in runs}
    known = [by_run[run] for run in points["run"]]
    x: list[Any] = points["place"].to_list()
    if by == "time":
        x = points["at"].dt.strftime("%Y-%m-%d %H:%M:%S").to_list()
    unit, size = _unit(points["value"], row["unit"])
    values, level = (points[name].to_numpy().astype(float) / size for name in ("value", "level"))
    shape = row["shape"]
    at = points["run"].to_list().index(row["changed_at"]) if shape == "step" else None
    made = _sheet(sheet, unit, np.concatenate((values, level)), by, len(runs))
    told = [
        _told(run, value, row["unit"]) for run, value in zip(known, points["value"], strict=True)
    ]
    data = [_dots(x, values, at, palette) | {"hovertext": told}]
    if shape is not None:
        data.insert(0, _level(x, level, row, palette))
    if at is not None:
        made["shapes"].append(_line(x[at], palette))
        made["annotations"].append(_from(x[at], at, len(x), known[at], palette))
    return {"data": data, "layout": made}


def _unit(values: pl.Series, unit: str) -> tuple[str, float]:
    """What the axis counts, and how much of the measure's own unit that is."""
    if unit != "ns":
        return ("%", 0.01) if unit == "share" else (unit, 1.0)
    largest = values.to_numpy().max()
    return next((known for known in _TIMES if largest >= known[1]), _TIMES[-1])


def _sheet(
    sheet: Sheet,
    unit: str,
    drawn: NDArray[np.float64],
    by: By,
    runs: int,
) -> Figure:
    palette = sheet.palette
    made = layout(sheet, 0, 1)
    made["margin"] |= {"l": MARGIN_PX, "t": TOP_PX, "b": BOTTOM_PX}
    shown = {**made["xaxis"], "fixedrange": True}
    if by == "time":
        for name in ("range", "tickmode", "tickvals", "ticktext"):
            del shown[name]
        made["xaxis"] = shown | {"type": "date", "nticks": max(2, columns(sheet) // 90)}
    else:
        step = round_step(runs / max(1, columns(sheet) // _TICK_PX))
        at = [*([1] if step > 2 else []), *range(step, runs + 1, step)]
        names = {"tickvals": at, "ticktext": [str(place) for place in at]}
        made["xaxis"] = shown | {"range": [0.4, runs + 0.6]} | names
    low, high = float(np.nanmin(drawn)), float(np.nanmax(drawn))
    margin = 0.1 * (high - low) or abs(high) * 0.1 or 1.0
    made["yaxis"] |= {
        **ruled(palette),
        "range": [max(low - margin, -0.1 * high), high + margin],
        "tickmode": "auto",
        "nticks": max(3, rows(sheet) // 36),
        "exponentformat": "none",
    }
    counted = "run" if by == "order" else "UTC"
    made["annotations"] = [
        caption(unit, palette),
        remark(counted, palette, x=0, xshift=-14, y=0, yshift=-5, yanchor="top"),
    ]
    return made


def _dots(x: list[Any], values: NDArray[np.float64], at: int | None, palette: Palette) -> Figure:
    """A dot a run; that at which the step is, the one numbered `at`, has a shape of its own."""
    made = dots(np.zeros(0), values, [], "circle", "execution", palette) | {"x": x}
    changed = [place == at for place in range(len(x))]
    made["marker"] |= {
        "symbol": ["diamond" if here else "circle" for here in changed],
        "size": [12 if here else 8 for here in changed],
        "opacity": 1,
        "line": {"width": 0},
    }
    return made


def _told(run: Mapping[str, Any], value: float, unit: str) -> str:
    """The value of a run, where it comes from, and what its log says of itself."""
    pairs = [(pair["key"], pair["value"]) for pair in run["keys"] if pair["key"] != "start"]
    told = [("started" if run["start"] else "added", wording.when(run)), ("log", run["source"])]
    lines = [f"{_short(key)} {_short(text)}" for key, text in (*told, *pairs[:_MOST_KEYS])]
    return "<br>".join([f"<b>{wording.value(value, unit)}</b>", *lines])


def _short(text: str) -> str:
    return inert(text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1]}…")


def _level(
    x: list[Any], level: NDArray[np.float64], row: Mapping[str, Any], palette: Palette
) -> Figure:
    """The medians before and after, or the drift; a dash tells it from a line through the dots."""
    step = row["shape"] == "step"
    return {
        "type": "scatter",
        "mode": "lines",
        "x": x,
        "y": packed(level),
        "line": {
            "shape": "hvh" if step else "linear",
            "width": 2.5,
            "dash": "solid" if step else "dash",
            "color": palette.states["late" if row["worse"] else "met"].edge,
        },
        "hoverinfo": "skip",
    }


def _line(x: Any, palette: Palette) -> Figure:
    style = {"width": 1, "dash": "dot", "color": palette.text}
    return {"type": "line", "yref": "paper", "x0": x, "x1": x, "y0": 0, "y1": 1, "line": style}


def _from(x: Any, place: int, count: int, run: Mapping[str, Any], palette: Palette) -> Figure:
    """Names the first run of the later level, on the side that has more room."""
    name = wording.name(run)
    left = place < count / 2
    where = {"x": x, "xref": "x", "y": 1, "yanchor": "bottom", "yshift": 3}
    side = {"xanchor": "left" if left else "right"}
    made = remark(f"from {_short(name)} on", palette, **where, **side)
    return made | {"font": {"size": 12, "color": palette.text}}
