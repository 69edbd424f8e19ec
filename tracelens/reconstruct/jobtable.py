"""The table of jobs: numbered, judged, with the activations that each one hides."""

import numpy as np
import polars as pl

from tracelens.handed import as_column
from tracelens.model import tables
from tracelens.model.columns import JobStatus
from tracelens.model.log import Log
from tracelens.reconstruct import arena as a
from tracelens.reconstruct.grid import NO_RELEASE, envelope
from tracelens.reconstruct.names import Named
from tracelens.reconstruct.rows import taken
from tracelens.reconstruct.setup import Facts, early_ns

_BLOCK = 1 << 18


def job_tables(
    job_columns: list[np.ndarray],
    episode_columns: list[np.ndarray],
    named: Named,
    about: Facts,
    log: Log,
    boots: list[tuple[int, int]],
) -> tuple[pl.DataFrame, list[np.ndarray], np.ndarray]:
    """The table JOBS with its tasks as numbers, the columns of EPISODES, and the machine's job
    number → row, -1 for what was no job after all.
    """
    number, task, release, first, end, status, flags, ran, begun_at, ended_at = job_columns
    real = np.flatnonzero(status != a.DISCARDED)
    order = real[by_task_and_release(task[real], release[real], number[real])]
    old_to_new = np.full(int(number.max(initial=-1)) + 1, -1, np.int64)
    old_to_new[number[order]] = np.arange(len(order))
    task, release, first, end, status, flags, ran, begun_at, ended_at = (
        taken(column, order)
        for column in (task, release, first, end, status, flags, ran, begun_at, ended_at)
    )
    episodes = _episode_columns(episode_columns, old_to_new)
    clipped = (flags & a.CLIPPED) != 0
    if clipped.any():
        episodes, first, ran = clip_to_release(episodes, clipped, release, first, ran)
    deadlines = [t.deadline_ns for t in named.system.tasks]
    known = pl.Series(deadlines, dtype=pl.Int64)
    first_of_task = np.searchsorted(task, np.arange(len(deadlines)))
    counted = np.arange(len(order)) - first_of_task[task] + 1
    is_open = status == a.OPEN
    judged = (status == a.COMPLETE) | is_open
    frame = pl.DataFrame(
        {
            "job_id": as_column(np.arange(len(order))),
            "task": as_column(task),
            "job": as_column(counted),
            "release_ns": as_column(release),
            "start_ns": as_column(first),
            "end_ns": as_column(end),
            "status": as_column(status).cat.to(JobStatus),
            "inferred": pl.Series((flags & a.INFERRED) != 0),
            "hidden": hidden(task, release, end, status, flags, begun_at, named, about, boots),
            "execution_ns": as_column(ran),
            "deadline_ns": known.gather(task),
            "response_ns": as_column(end - release),
            "judged": judged,
            "release_part": log.events["part"].gather(begun_at),
            "release_line": log.events["line"].gather(begun_at),
            "end_part": log.events["part"].gather(ended_at),
            "end_line": log.events["line"].gather(ended_at),
            "is_open": is_open,
            "seen": (flags & a.UNDER_WAY) == 0,
        }
    )
    frame = frame.with_columns(
        pl.when(pl.col("start_ns") >= 0).then("start_ns").alias("start_ns"),
        pl.when("judged").then("response_ns").alias("response_ns"),
        (pl.col("judged") & (pl.col("response_ns") > pl.col("deadline_ns")))
        .fill_null(value=False)
        .alias("late"),
        *(pl.when("seen").then(c).alias(c) for c in ("release_part", "release_line")),
        *(pl.when(~pl.col("is_open")).then(c).alias(c) for c in ("end_part", "end_line")),
    ).select(*tables.JOBS.columns)
    return frame, episodes, old_to_new


def by_task_and_release(task: np.ndarray, release: np.ndarray, number: np.ndarray) -> np.ndarray:
    """The order of jobs by task, release, then number.

    Jobs come in order of completion, which within a task is nearly always that of release.
    """
    order = np.argsort(task, kind="stable")  # by digits, for it is narrow
    sorted_task, sorted_release = task[order], release[order]
    same = sorted_task[1:] == sorted_task[:-1]
    rising = sorted_release[1:] > sorted_release[:-1]
    if (rising | ~same).all():
        return order
    return np.lexsort((number, release, task))


def _episode_columns(columns: list[np.ndarray], old_to_new: np.ndarray) -> list[np.ndarray]:
    """The episodes of what were jobs, with the final job numbers."""
    job = columns[0]
    for at in range(0, len(job), _BLOCK):  # in place: room for another column costs more
        part = job[at : at + _BLOCK]
        part[:] = old_to_new[part]
    kept = job >= 0
    return columns if kept.all() else [column[kept] for column in columns]


def clip_to_release(
    episodes: list[np.ndarray],
    clipped: np.ndarray,
    release: np.ndarray,
    first: np.ndarray,
    ran: np.ndarray,
) -> tuple[list[np.ndarray], np.ndarray, np.ndarray]:
    """Cut what jobs on trial did before the item that made them jobs was put in.

    `clipped`, `release`, `first` (start) and `ran` (execution) have one entry a job. Returns the
    episodes, first starts and executions of what is left.
    """
    job, start, *_ = episodes
    start = np.where(clipped[job], np.maximum(start, release[job]), start)
    kept = episodes[2] > start
    episodes = [column[kept] for column in (job, start, *episodes[2:])]
    job, start, end, _, _, entry = episodes
    first, ran = first.copy(), ran.copy()
    runs = np.flatnonzero(clipped[job] & (entry == a.E_EXECUTION))
    earlier = clipped & (first < release)
    ran[clipped] = 0
    np.add.at(ran, job[runs], end[runs] - start[runs])
    far = np.full(len(first), np.iinfo(np.int64).max)
    np.minimum.at(far, job[runs], start[runs])
    first[earlier] = np.where(far[earlier] < np.iinfo(np.int64).max, far[earlier], -1)
    return episodes, first, ran


def hidden(
    task: np.ndarray,
    release: np.ndarray,
    end: np.ndarray,
    status: np.ndarray,
    flags: np.ndarray,
    begun_at: np.ndarray,
    named: Named,
    about: Facts,
    starts: list[tuple[int, int]],
) -> np.ndarray:
    """How many nominal releases each complete job swallowed: those after its own, before its end,
    and before that of the task's next job. Columns as in the job table, sorted by task, release;
    `starts` has the first event row and the time (ns) of each boot.
    """
    count = np.zeros(len(task), np.int64)
    first_rows = np.array([first for first, _ in starts])
    bounds = np.searchsorted(task, np.arange(len(named.system.tasks) + 1))
    for number, one in enumerate(named.system.tasks):
        period = one.period_ns
        if not period or about.modes[number] > a.BY_OBJECT:
            continue
        of_task = np.arange(bounds[number], bounds[number + 1])
        boots = np.searchsorted(first_rows, begun_at[of_task], side="right") - 1
        for boot in np.unique(boots):
            rows = of_task[boots == boot]
            seen = (flags[rows] & NO_RELEASE) == 0
            if one.offset_ns is not None:
                origin, slack = starts[boot][1] + one.offset_ns, early_ns(one)
            elif seen.any():
                origin, slack = envelope(release[rows][seen], period), 0
            else:
                continue
            nominal = (release[rows] - origin + slack) // period
            inside = (end[rows] - 1 - origin) // period - nominal
            to_next = np.diff(nominal, append=np.iinfo(np.int64).max) - 1
            swallowed = np.minimum(inside, to_next)
            count[rows] = np.where(status[rows] == a.COMPLETE, np.maximum(swallowed, 0), 0)
    return count
