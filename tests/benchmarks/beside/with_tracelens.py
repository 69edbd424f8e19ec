"""The two questions, and all the others, by the full report; its tables hold the answers."""

import io
from pathlib import Path
from typing import Any

import polars as pl

from tracelens.analysis import analyse
from tracelens.reading import read
from tracelens.report.document import document
from tracelens.report.text import show

STATISTICS = ["jobs", "response_p50_ns", "response_p99_ns", "response_max_ns", "deadline_misses"]


def answers(path: Path) -> dict[str, Any]:
    analysis = analyse(read(path))
    show(document(analysis), io.StringIO(), width=80)
    tasks = analysis.tasks.filter(~pl.col("idle"))
    judged = tasks.filter(pl.col("jobs") > 0)
    return {
        "busy": {
            **dict(tasks.select("task", "execution_ns").iter_rows()),
            **dict(analysis.isrs.select("isr", "execution_ns").iter_rows()),
        },
        "responses": {task: row for task, *row in judged.select("task", *STATISTICS).iter_rows()},
    }
