"""The moment of each run from which both count: where they begin, a job of each, or a mark."""

from dataclasses import dataclass
from difflib import get_close_matches
from typing import Final, Literal

import polars as pl

from tracelens.drawing.runs import Run
from tracelens.errors import UsageError
from tracelens.web.panels.panel import LONGEST_NAME, short

Kind = Literal["begin", "job", "mark"]
KINDS: Final[tuple[Kind, ...]] = ("begin", "job", "mark")
MOST_NAMES: Final = 200


@dataclass(frozen=True, slots=True)
class Alignment:
    """What the reader asks for; `task`, `job_a` and `job_b`, or `mark`, as typed."""

    kind: str = "begin"
    task: str = ""
    job_a: str = ""
    job_b: str = ""
    mark: str = ""


def moments(a: Run, b: Run, asked: Alignment) -> tuple[int, int]:
    """The moment (ns) in each run. Raises `UsageError` that says which run lacks what."""
    if asked.kind == "job":
        if not asked.task:
            raise UsageError("no task is named: found nothing, expected one that both runs have")
        return (
            _release(a, "first", asked.task, asked.job_a or "1"),
            _release(b, "second", asked.task, asked.job_b or asked.job_a or "1"),
        )
    if asked.kind == "mark":
        if not asked.mark:
            raise UsageError("no mark is named: found nothing, expected one that both logs have")
        return _marked(a, "first", asked.mark), _marked(b, "second", asked.mark)
    return 0, 0


def tasks_of_both(a: Run, b: Run) -> list[str]:
    """Tasks that have jobs in both runs, in the order of the first run's lanes."""
    return _of_both(_tasks(a), _tasks(b))


def marks_of_both(a: Run, b: Run) -> list[str]:
    """Words that are marked in both logs, in order of the first."""
    return _of_both(_marks(a), _marks(b))


def _of_both(mine: list[str], theirs: list[str]) -> list[str]:
    known = set(theirs)
    return [name for name in mine if name in known][:MOST_NAMES]


def _tasks(run: Run) -> list[str]:
    known = set(run.analysis.timeline.jobs["task"].unique().to_list())
    return [lane.name for lane in run.lanes.of("task") if lane.name in known]


def _marks(run: Run) -> list[str]:
    return _events(run)["subject"].unique(maintain_order=True).to_list()


def _events(run: Run) -> pl.DataFrame:
    events = run.analysis.timeline.log.events
    marks = events.lazy().filter(pl.col("event") == "mark")
    return marks.select(pl.col("subject").cast(pl.String), "time_ns").collect()


def _release(run: Run, which: str, task: str, number: str) -> int:
    jobs = run.analysis.timeline.jobs.filter(pl.col("task").cast(pl.String) == task)
    if jobs.is_empty():
        raise UsageError(f"the {which} run has no job of {short(task)}{_near(task, _tasks(run))}")
    if not (number.isascii() and number.isdigit()) or len(number) > 12:
        raise UsageError(f"found {short(number)!r}, expected the number of a job")
    found = jobs.filter(pl.col("job") == int(number))
    if found.is_empty():
        known = jobs["job"].sort()
        raise UsageError(
            f"the {which} run has no job {int(number)} of {short(task)}: expected {known[0]} to "
            f"{known[-1]}"
        )
    return int(found["release_ns"][0])


def _marked(run: Run, which: str, mark: str) -> int:
    events = _events(run)
    found = events.filter(pl.col("subject") == mark)
    if found.is_empty():
        raise UsageError(f"the {which} log has no mark {short(mark)}{_near(mark, _marks(run))}")
    return int(found["time_ns"][0])


def _near(word: str, known: list[str]) -> str:
    near = get_close_matches(
        word[:LONGEST_NAME], [name[:LONGEST_NAME] for name in known[:MOST_NAMES]], 1
    )
    return f"; did you mean {short(near[0])}?" if near else ""
