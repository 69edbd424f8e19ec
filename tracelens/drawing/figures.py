"""The panels under the schedule: load over time, and response times.

Tables in, plotly figures as dicts out. A figure that has nothing to show comes as None, with a
sentence that says what is missing and how to get it.
"""

from typing import Any, Final

import numpy as np
import polars as pl

from tracelens.drawing.axis import round_step, ticks
from tracelens.drawing.packing import inert, packed
from tracelens.drawing.palette import Palette
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet, layout, remark
from tracelens.drawing.window import time_in
from tracelens.findings.wording import duration
from tracelens.units import NS_PER_S

Figure = dict[str, Any]
Shown = tuple[Figure | None, str]
"""A figure, or None; and the sentence that stands in its place, or ''."""

LOAD_PX: Final = 4
"""Width of a step of the load curve: narrower ones would be noise."""

DOT_PX: Final = 4
"""Dots closer than this, across and up, are drawn as one."""

_BUSY: Final = ("isr", "task", "switching")
_CORE_PAINTS: Final = ("execution", "late", "met", "backlog")
_CORE_DASHES: Final = ("solid", "dash", "dot", "dashdot")


def load_over_time(run: Run, start_ns: int, end_ns: int, sheet: Sheet) -> Shown:
    """Load of each core over [start_ns, end_ns), in windows of a round length."""
    cores = run.lanes.of("core")
    if not cores:
        return None, "No core is known: the log has no `start` event."
    step = round_step(LOAD_PX * (end_ns - start_ns) / sheet.columns)
    edges = np.arange(start_ns // step, -(-end_ns // step) + 1, dtype=np.int64) * step
    tracks = run.lanes.tracks["core"]
    data = []
    made = layout(sheet, start_ns, end_ns)
    made["annotations"].append(
        remark(f"in windows of {duration(step)}", sheet.palette, x=1, y=1, yanchor="bottom")
    )
    for i, core in enumerate(cores):
        known = np.diff(np.minimum(edges, run.span_ns)) - time_in(
            tracks["unknown"], core.key, edges
        )
        busy = sum(time_in(tracks[state], core.key, edges) for state in _BUSY)
        share = np.full(len(known), np.nan)
        np.divide(busy, known, out=share, where=known > 0)
        paint = sheet.palette.states[_CORE_PAINTS[i % len(_CORE_PAINTS)]]
        data.append(
            {
                "type": "scatter",
                "mode": "lines",
                "name": inert(core.name),
                "x": packed(edges),
                "y": packed((100 * np.append(share, share[-1:])).astype(np.float32)),
                "line": {
                    "shape": "hv",
                    "width": 1.5,
                    "color": paint.edge,
                    "dash": _CORE_DASHES[i % len(_CORE_DASHES)],
                },
                "hovertemplate": f"{inert(core.name)}: %{{y:.3g}} %<extra></extra>",
            }
        )
    made["margin"]["t"] = 22
    made["yaxis"] |= {**_share_axis(), "gridcolor": sheet.palette.rule}
    made["annotations"].append(
        remark("load, %", sheet.palette, x=0, xshift=-8, y=1, yanchor="bottom", yshift=5)
    )
    made["showlegend"] = len(cores) > 1
    made["legend"] = _legend()
    return {"data": data, "layout": made}, ""


def response_times(run: Run, task: str | None, sheet: Sheet, chosen: int | None = None) -> Shown:
    """A dot per job of a task: response over release; beside it the empirical distribution.

    Dots that would lie on one another are one; a late job is a cross, an open one (its
    response is a lower bound) a triangle; the job that the reader looks at has a ring.
    """
    jobs = run.analysis.timeline.jobs.filter(
        (pl.col("task") == task) & pl.col("response_ns").is_not_null()
    )
    if jobs.is_empty():
        return None, (
            "No job of this task was complete. Jobs are told by the waits between them, or by "
            "`arrive` and `finish` marks in the log."
        )
    palette = sheet.palette
    longest, deadline = jobs.select(pl.col("response_ns", "deadline_ns").max()).row(0)
    top = 1.1 * max(longest, deadline or 0, 1)
    cell_x = max(1, DOT_PX * run.span_ns // sheet.columns)
    cell_y = max(1, round(DOT_PX * top / sheet.rows))
    dots = (
        jobs.group_by(
            "late",
            pl.col("status") == "open",
            (pl.col("release_ns") // cell_x).alias("column"),
            (pl.col("response_ns") // cell_y).alias("row"),
        )
        .agg(pl.col("job_id", "job", "release_ns", "response_ns").first())
        .sort("job_id")
    )
    made = layout(sheet, 0, max(1, run.span_ns))
    data = [
        _dots(dots.filter(~pl.col("late") & ~pl.col("status")), "circle", "execution", palette),
        _dots(dots.filter(pl.col("late") & ~pl.col("status")), "x", "late", palette),
        _dots(dots.filter(~pl.col("late") & pl.col("status")), "triangle-up", "execution", palette),
        _dots(dots.filter(pl.col("late") & pl.col("status")), "triangle-up", "late", palette),
        _ring(jobs.filter(pl.col("job_id") == (-1 if chosen is None else chosen)), palette),
        _distribution(jobs, palette),
    ]
    response = ticks(0, round(top), sheet.rows, spacing_px=26)
    made["margin"]["t"] = 22
    made["xaxis"] |= {"domain": [0, 0.74], "fixedrange": True}
    made["annotations"].append(
        remark(
            f"response, {response.title}",
            palette,
            x=0,
            xshift=-8,
            y=1,
            yanchor="bottom",
            yshift=5,
        )
    )
    made["yaxis"] |= {
        "range": [0, top / NS_PER_S],
        "showgrid": True,
        "gridcolor": palette.rule,
        "griddash": "dot",
        **response.layout(),
        "tickvals": [at / NS_PER_S for at in response.at],
    }
    made["xaxis2"] = {
        **_share_axis(),
        "domain": [0.8, 1],
        "anchor": "y",
        "gridcolor": palette.rule,
        "griddash": "dot",
    }
    made["annotations"].append(
        remark("share of jobs, %", palette, x=1, y=1, yanchor="bottom", yshift=-2)
    )
    if deadline is not None:
        made["shapes"] = [
            {
                "type": "line",
                "xref": "paper",
                "x0": 0,
                "x1": 1,
                "y0": deadline / NS_PER_S,
                "y1": deadline / NS_PER_S,
                "line": {"width": 1.5, "dash": "dash", "color": palette.states["late"].edge},
            }
        ]
        made["annotations"].append(
            remark(
                f"deadline {duration(deadline)}", palette,
                x=0.74, y=deadline / NS_PER_S, yref="y", yanchor="bottom",
            )
        )  # fmt: skip
    return {"data": data, "layout": made}, ""


def _dots(dots: pl.DataFrame, symbol: str, state: str, palette: Palette) -> Figure:
    """Jobs as points; `customdata` is the job id: a plain list, since clicks are told from it."""
    least = "at least " if symbol == "triangle-up" else ""
    return {
        "type": "scatter",
        "mode": "markers",
        "x": packed(dots["release_ns"].to_numpy()),
        "y": packed((dots["response_ns"].to_numpy() / NS_PER_S).astype(np.float32)),
        "customdata": dots["job_id"].to_list(),
        "text": dots["job"].cast(pl.String).to_list(),
        "marker": {
            "symbol": symbol,
            "size": 5 if symbol == "circle" else 7,
            "color": palette.states[state].edge,
            "opacity": 0.75 if symbol == "circle" else 1,
        },
        "cliponaxis": False,
        "hovertemplate": f"job %{{text}}: {least}%{{y:.3~s}}s<extra></extra>",
    }


def _ring(job: pl.DataFrame, palette: Palette) -> Figure:
    return {
        "type": "scatter",
        "mode": "markers",
        "x": job["release_ns"].to_list(),
        "y": (job["response_ns"] / NS_PER_S).to_list(),
        "marker": {
            "symbol": "circle-open",
            "size": 14,
            "color": palette.text,
            "line": {"width": 2},
        },
        "hoverinfo": "skip",
    }


def _distribution(jobs: pl.DataFrame, palette: Palette) -> Figure:
    """Empirical distribution function of the complete jobs' responses, as a step line."""
    responses = np.sort(jobs.filter(pl.col("status") == "complete")["response_ns"].to_numpy())
    at = np.unique(np.linspace(0, len(responses) - 1, 400).astype(np.int64))
    at = at[at >= 0]  # no complete job: no line
    share = 100 * (at + 1) / max(1, len(responses))
    return {
        "type": "scatter",
        "mode": "lines",
        "xaxis": "x2",
        "x": packed(share.astype(np.float32)),
        "y": packed((responses[at] / NS_PER_S).astype(np.float32)),
        "line": {"shape": "vh", "width": 1.5, "color": palette.states["execution"].edge},
        "hovertemplate": "%{x:.3g} % of the jobs<extra></extra>",
    }


def _share_axis() -> dict[str, Any]:
    return {
        "range": [0, 102],
        "fixedrange": True,
        "tickmode": "array",
        "tickvals": [0, 50, 100],
        "showgrid": True,
        "griddash": "dot",
        "zeroline": False,
    }


def _legend() -> dict[str, Any]:
    return {"orientation": "h", "x": 0, "y": 1, "yanchor": "bottom", "font": {"size": 12}}
