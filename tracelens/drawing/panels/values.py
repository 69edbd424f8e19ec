"""What the application marked: values of one mark over time, and phases as bands."""

from typing import Final

import numpy as np
import polars as pl

from tracelens.drawing.figures import (
    DOT_PX,
    Figure,
    Shown,
    caption,
    columns,
    dots,
    over_time,
    rows,
    ruled,
    thinned,
)
from tracelens.drawing.packing import inert, packed
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet, remark
from tracelens.measures.marks import marks
from tracelens.numbers import duration, moment

MOST_BANDS: Final = 400
MOST_ROWS: Final = 4
LONGEST_NAME: Final = 24
_SPAN: Final = pl.format("{}:{}::", "start_ns", "end_ns")
VALUES: Final = 0.4
"""The lower end of the values, above the bands, as a share of the height."""


def marks_between(run: Run, mark: str | None, start_ns: int, end_ns: int) -> pl.DataFrame:
    """The marks of one word in [start, end). Columns of `measures.marks.marks`."""
    return marks(run.analysis.timeline.log).filter(
        (pl.col("mark") == mark) & pl.col("at_ns").is_between(start_ns, end_ns, closed="left")
    )


def values_over_time(run: Run, mark: str | None, start_ns: int, end_ns: int, sheet: Sheet) -> Shown:
    """The values of a mark over [start_ns, end_ns), ticks where it has none; phases below."""
    palette = sheet.palette
    made = over_time(sheet, start_ns, end_ns)
    data = []
    bands = run.analysis.phases.filter(
        (pl.col("start_ns") < end_ns) & (pl.col("end_ns") > start_ns)
    )
    foot = VALUES if bands.height else 0
    if mark is not None:
        found = marks_between(run, mark, start_ns, end_ns)
        numbers = found.drop_nulls("value")
        points = found.filter(pl.col("value").is_null()).with_columns(value=pl.lit(0.0))
        low, high = _range(numbers["value"])
        made["yaxis"] |= {
            **ruled(palette),
            "range": [low, high],
            "domain": [foot, 1],
            "tickmode": "auto",
            "nticks": max(2, round((1 - foot) * rows(sheet)) // 22),
            # Ticks without a value stand on no scale.
            "showticklabels": not numbers.is_empty(),
            "showgrid": not numbers.is_empty(),
        }
        # A name may be long; the choice above tells it whole.
        name = mark if len(mark) <= LONGEST_NAME else f"{mark[: LONGEST_NAME - 1]}…"
        made["annotations"].append(caption(inert(name), palette))
        cell = DOT_PX * (end_ns - start_ns) // columns(sheet)
        height = DOT_PX * (high - low) / rows(sheet)
        data = [
            _points(thinned(numbers, "at_ns", "value", cell, height), sheet),
            _ticks(thinned(points, "at_ns", "value", cell, 1), low, sheet),
        ]
        if found.is_empty():
            made["annotations"].append(
                remark("no such mark in this window", palette, x=1, y=1, yanchor="bottom", yshift=3)
            )
    if bands.height:
        made["yaxis2"] = _rows(bands, sheet) | {"domain": [0, foot - 0.08 if data else 1]}
        made["xaxis"]["anchor"] = "y2"
        data.append(_bands(_within(bands, start_ns, end_ns), sheet))
        if bands.height > MOST_BANDS:
            left_out = f"the {MOST_BANDS} longest of {bands.height} phases"
            made["annotations"].append(
                remark(left_out, palette, x=1, y=1, yanchor="bottom", yshift=3)
            )
    return {"data": data, "layout": made}, ""


def _range(values: pl.Series) -> tuple[float, float]:
    if values.is_empty():
        return 0.0, 1.0
    numbers = values.to_numpy()
    low, high = float(numbers.min()), float(numbers.max())
    margin = 0.08 * (high - low) or abs(high) * 0.1 or 1.0
    return low - margin, high + margin


def _points(points: pl.DataFrame, sheet: Sheet) -> Figure:
    return dots(
        points["at_ns"].to_numpy(),
        points["value"].to_numpy(),
        _places(points),
        "circle",
        "execution",
        sheet.palette,
    ) | {
        "mode": "lines+markers",
        "line": {"width": 1, "color": sheet.palette.states["execution"].edge},
        "hovertext": [
            f"{value:g} at {moment(at)}"
            for value, at in zip(points["value"], points["at_ns"], strict=True)
        ],
    }


def _ticks(points: pl.DataFrame, low: float, sheet: Sheet) -> Figure:
    at = points["at_ns"].to_numpy()
    made = dots(at, np.full(len(at), low), _places(points), "line-ns", "execution", sheet.palette)
    made["marker"] |= {"size": 26, "line": {"width": 1.5, "color": made["marker"]["color"]}}
    return made | {"hovertext": [moment(at) for at in points["at_ns"]]}


def _places(points: pl.DataFrame) -> list[str]:
    return points.select(pl.format("{}:{}::", "at_ns", "at_ns")).to_series().to_list()


def _names(bands: pl.DataFrame) -> list[str]:
    """The phases that have a row each: those that last longest; the others share the last row."""
    length = (pl.col("end_ns") - pl.col("start_ns")).sum().alias("ns")
    summed = bands.group_by("phase", maintain_order=True).agg(length)
    return summed.sort("ns", descending=True, maintain_order=True)["phase"].to_list()[:MOST_ROWS]


def _within(bands: pl.DataFrame, start_ns: int, end_ns: int) -> pl.DataFrame:
    """The visible part of each band, so that its name can be seen, and the place of the whole."""
    return bands.select(
        "phase",
        pl.col("start_ns").clip(lower_bound=start_ns),
        pl.col("end_ns").clip(upper_bound=end_ns),
        place=_SPAN,
        whole_ns=pl.col("end_ns") - pl.col("start_ns"),
        begin_ns="start_ns",
    )


def _rows(bands: pl.DataFrame, sheet: Sheet) -> Figure:
    names = _names(bands)
    return {
        "fixedrange": True,
        "range": [len(names), 0],
        "anchor": "x",
        "showticklabels": False,
        "showgrid": False,
        "zeroline": False,
    }


def _bands(bands: pl.DataFrame, sheet: Sheet) -> Figure:
    names = _names(bands)
    length = pl.col("end_ns") - pl.col("start_ns")
    drawn = bands.with_columns(ns=length).sort("ns", descending=True, maintain_order=True)
    drawn = drawn.head(MOST_BANDS)
    row = {name: i + 0.5 for i, name in enumerate(names)}
    paint = sheet.palette.states["held"]
    said = [inert(phase[:LONGEST_NAME]) for phase in drawn["phase"]]
    return {
        "type": "bar",
        "orientation": "h",
        "yaxis": "y2",
        "base": packed(drawn["start_ns"].to_numpy()),
        "x": packed(drawn["ns"].to_numpy()),
        "y": [row.get(phase, len(names) - 0.5) for phase in drawn["phase"]],
        "width": 0.86,
        "marker": {"color": paint.fill, "line": {"width": 1, "color": paint.edge}},
        "text": said,
        "textposition": "inside",
        "insidetextanchor": "start",
        "textangle": 0,
        "constraintext": "none",
        "textfont": {"color": sheet.palette.text, "size": 12},
        "cliponaxis": True,
        "customdata": drawn.select(pl.format("{}:{}::", "start_ns", "end_ns"))
        .to_series()
        .to_list(),
        "hovertext": [
            f"{name}: {duration(ns)} from {moment(at)}"
            for name, ns, at in zip(said, drawn["whole_ns"], drawn["begin_ns"], strict=True)
        ],
        "hoverinfo": "text",
    }
