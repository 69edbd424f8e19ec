"""Where the time of one job went: its ledger as a bar against the deadline.

Tables in, a plotly figure as a dict out.
"""

from typing import Final

import numpy as np
import polars as pl

from tracelens.drawing.axis import ticks
from tracelens.drawing.blocks import CHARACTER_PX
from tracelens.drawing.figures import Figure, Shown
from tracelens.drawing.packing import inert, packed
from tracelens.drawing.palette import Paint, Palette
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import RIGHT_PX, Sheet, layout, remark, unit
from tracelens.drawing.words import exact, reason
from tracelens.findings.wording import duration
from tracelens.measures.ledgers import ledger
from tracelens.spans import LENGTH

LEFT_PX: Final = 132
MOST_PARTS: Final = 400

Part = tuple[int, int, str, str | None, str | None]
"""Start after release and length (ns), entry, by, via."""


def this_job(run: Run, job_id: int | None, sheet: Sheet) -> Shown:
    """Where a job's response went: as it happened, and summed, against the deadline."""
    job = None if job_id is None else run.job(job_id)
    if job is None:
        return None, _no_job(run)
    episodes = run.episodes_of(job["job_id"], job["job_id"])
    if episodes.is_empty():
        return None, "The log does not tell where the time of this job went."
    palette = sheet.palette
    release, deadline = job["release_ns"], job["deadline_ns"]
    happened = (
        episodes.select(pl.col("start_ns") - release, LENGTH.alias("ns"), "entry", "by", "via")
        .top_k(MOST_PARTS, by="ns")
        .rows()  # few rows: MOST_PARTS
    )
    summed, at = [], 0
    for entry, by, via, ns in entries(run, job["job_id"]).rows():  # few rows: it is summed
        summed.append((at, ns, entry, by, via))
        at += ns
    right = round(1.03 * max(job["end_ns"] - release, deadline or 0, 1))
    axis = ticks(0, right, sheet.width - LEFT_PX)
    made = layout(sheet, 0, right)
    made["margin"] |= {"l": LEFT_PX, "t": 18}
    made["barmode"] = "overlay"
    made["xaxis"] |= {
        "range": [0, right],
        "fixedrange": True,
        **axis.layout(),
    }
    made["yaxis"] |= {
        "range": [2, 0],
        "tickmode": "array",
        "tickvals": [0.5, 1.5],
        "ticktext": ["as it happened", "added up"],
    }
    made["annotations"] = [unit(f"{axis.title} after release", palette)]
    if episodes.height > MOST_PARTS:
        left_out = f"the {MOST_PARTS} longest of {episodes.height} parts are drawn as they happened"
        made["annotations"].append(remark(left_out, palette, x=1, y=1, yanchor="bottom"))
    if deadline is not None:
        colour = palette.states["late" if job["late"] else "met"].edge
        made["shapes"] = [
            {
                "type": "line",
                "yref": "paper",
                "x0": deadline,
                "x1": deadline,
                "y0": 0,
                "y1": 1,
                "line": {"width": 2, "color": colour},
            }
        ]
        made["annotations"].append(
            remark(
                f"deadline {duration(deadline)} ↓", palette,
                xref="x", x=deadline, xshift=5, y=1, yanchor="bottom", yshift=-3,
            )
        )  # fmt: skip
    return {
        "data": [
            *_ledger_bars(happened, 0.5, palette),
            *_ledger_bars(summed, 1.5, palette),
            _labels(happened, 0.5, right, sheet),
            _labels(summed, 1.5, right, sheet),
        ],
        "layout": made,
    }, ""


def entries(run: Run, job_id: int) -> pl.DataFrame:
    """The ledger of one job, largest entry first. Columns entry, by, via, ns."""
    return ledger(job_id, run.episodes_of(job_id, job_id)).select("entry", "by", "via", "ns")


def _ledger_bars(parts: list[Part], y: float, palette: Palette) -> list[Figure]:
    """One bar trace for each entry that occurs."""
    return [
        _ledger_bar([part for part in parts if part[2] == entry], y, palette.states[entry])
        for entry in dict.fromkeys(part[2] for part in parts)
    ]


def _ledger_bar(parts: list[Part], y: float, paint: Paint) -> Figure:
    return {
        "type": "bar",
        "orientation": "h",
        "base": packed(np.array([base for base, *_ in parts], np.float64)),
        "x": packed(np.array([length for _, length, *_ in parts], np.float64)),
        "y": [y] * len(parts),
        "width": [0.7] * len(parts),
        "marker": {
            "color": paint.fill,
            "line": {"width": 1, "color": paint.edge},
            "pattern": {
                "shape": paint.hatch,
                "fillmode": "overlay",
                "fgcolor": paint.edge,
                "fgopacity": 0.7,
                "size": 8,
                "solidity": 0.15,
            },
        },
        "hovertext": [
            f"{duration(ns)} ({exact(ns)})<br>{reason(entry, by and inert(by), via and inert(via))}"
            for _, ns, entry, by, via in parts
        ],
        "hoverinfo": "text",
    }


def _labels(parts: list[Part], y: float, right: int, sheet: Sheet) -> Figure:
    """Who or what each part is, where it fits: colour and hatch must not be all there is."""
    px_per_ns = (sheet.width - LEFT_PX - RIGHT_PX) / right
    fitting = [
        (base + length / 2, by if by and entry != "execution" else entry, entry)
        for base, length, entry, by, _ in parts
        if len(by or entry) * CHARACTER_PX + 10 <= length * px_per_ns
    ]
    palette = sheet.palette
    return {
        "type": "scatter",
        "mode": "text",
        "x": [x for x, _, _ in fitting],
        "y": [y] * len(fitting),
        "text": [f" {inert(text)} " for _, text, _ in fitting],
        "textfont": {
            "size": 12,
            "color": [palette.ink_on(entry) for _, _, entry in fitting],
        },
        "hoverinfo": "skip",
    }


def _no_job(run: Run) -> str:
    if run.late.height:
        return "Choose a finding, or a miss, to see where its time went."
    deadlines = run.analysis.tasks["deadline_ns"].drop_nulls().len()
    if deadlines:
        return (
            f"No job was late; {deadlines} task{'s' if deadlines > 1 else ''} declare a deadline. "
            "Choose a dot under “response times” to see where a job’s time went."
        )
    return (
        "No deadline is declared, so nothing can be called late: add deadline_us to the #task "
        "lines of the log, or to a system file."
    )
