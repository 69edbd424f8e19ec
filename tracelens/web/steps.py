"""From one place of a kind to the next: late jobs, or priority inversions."""

from typing import Final

import numpy as np

from tracelens.drawing.runs import Run
from tracelens.web import moves
from tracelens.web.moves import Chosen, View

KINDS: Final = {"miss": "misses", "inversion": "inversions"}
"""Kind of place → what several are called."""


def step(run: Run, view: View, chosen: Chosen, kind: str, by: int) -> tuple[View, Chosen]:
    """The next place of a kind (`by` 1) or the one before (−1), after the one that is shown.

    Where none is shown, it is the next from the middle of the window.
    """
    if kind == "inversion":
        return _to_inversion(run, view, chosen, by)
    late = run.late
    if late.is_empty():
        return view, chosen
    here = _miss(run, chosen)
    if here is None:
        before = int(late["end_ns"].search_sorted((view.start + view.end) // 2))
        here = before - 1 if by > 0 else before
    return moves.to_job(run, view, late["job_id"][min(max(here + by, 0), late.height - 1)])


def which(run: Run, view: View, chosen: Chosen, kind: str) -> str:
    """'miss 3 of 126', or how many there are."""
    places = run.analysis.timeline.inversions if kind == "inversion" else run.late
    here = _inversions_shown(run, view) if kind == "inversion" else [_miss(run, chosen)]
    if here and here[0] is not None:
        return f"{kind} {here[0] + 1} of {places.height}"
    if places.height == 1:
        return f"1 {kind}"
    return f"{places.height or 'no'} {KINDS[kind]}"


def _miss(run: Run, chosen: Chosen) -> int | None:
    if chosen is None:
        return None
    found = (run.late["job_id"] == chosen).arg_max()
    return found if found is not None and run.late["job_id"][found] == chosen else None


def _to_inversion(run: Run, view: View, chosen: Chosen, by: int) -> tuple[View, Chosen]:
    table = run.analysis.timeline.inversions
    if table.is_empty():
        return view, chosen
    shown = _inversions_shown(run, view)
    if shown:
        target = shown[-1] + 1 if by > 0 else shown[0] - 1
    else:
        before = int(table["start_ns"].search_sorted((view.start + view.end) // 2))
        target = before if by > 0 else before - 1
    row = table.row(min(max(target, 0), table.height - 1), named=True)
    return moves.to_span(run, view, row["start_ns"], row["end_ns"], row["victim"]), row["job_id"]


def _inversions_shown(run: Run, view: View) -> list[int]:
    """The inversions that the window frames exactly, as stepping to them leaves it."""
    table = run.analysis.timeline.inversions
    start, width = moves.frame(run, table["start_ns"].to_numpy(), table["end_ns"].to_numpy())
    return np.flatnonzero((start == view.start) & (width == view.end - view.start)).tolist()
