"""What a comparison takes from one run: series in order of time, and how the run was set up."""

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
import polars as pl

from tracelens.measures.load import load_windows
from tracelens.measures.parts import by_name
from tracelens.model.results import Analysis
from tracelens.model.system import System
from tracelens.units import NS_PER_S

Values = npt.NDArray[np.float64]
Key = tuple[str, str]
"""(quantity, subject): see `model.compared.QUANTITIES`."""

WINDOWS: Final = 128
"""Loads and inversions are taken over so many equal windows of a run, one value each."""


@dataclass(frozen=True, slots=True)
class Setup:
    """How a run came about: what must be alike for its numbers to be comparable.

    `priorities`, `periods` and `deadlines` are by task and None where not declared; periods and
    deadlines in ns. `keys` are those of `#run`. `coverage` is known core time / core time.
    """

    name: str
    keys: dict[str, str] = field(default_factory=dict)
    hz: int = NS_PER_S
    order: str | None = None
    policy: str = "fixed"
    cores: int = 1
    span_ns: int = 0
    coverage: float = 1.0
    boots: int = 1
    priorities: dict[str, int | None] = field(default_factory=dict)
    periods: dict[str, int | None] = field(default_factory=dict)
    deadlines: dict[str, int | None] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Observed:
    """One run. Times in ns.

    `execution` and `response` hold the judged jobs of each task in order of release, `series` the
    values of the other quantities that come as a series in time (a share of 0s and 1s for
    `misses`), `single` those of which a run has only one value. `ran` are the tasks and interrupt
    handlers that had a core or a job.
    """

    setup: Setup
    execution: dict[str, npt.NDArray[np.int64]]
    response: dict[str, npt.NDArray[np.int64]]
    series: dict[Key, Values] = field(default_factory=dict)
    single: dict[Key, float] = field(default_factory=dict)
    ran: frozenset[str] = frozenset()

    def same_jobs(self, other: "Observed") -> bool:
        """Whether all jobs took exactly as long: then it is the same run, or a copy."""
        return bool(self.response) and _equal(self.response, other.response)


def observe(analysis: Analysis, name: str) -> Observed:
    """Take from a run's analysis what is compared; messages call the run `name`."""
    run = analysis.timeline
    jobs = by_name(run.jobs.select("task", "status", "execution_ns", "response_ns", "late"), "task")
    idle = set(analysis.tasks.filter("idle")["task"])
    execution: dict[str, npt.NDArray[np.int64]] = {}
    response: dict[str, npt.NDArray[np.int64]] = {}
    series: dict[Key, Values] = {}
    single: dict[Key, float] = {}
    for task, of_task in jobs.items():
        judged = of_task.filter(pl.col("status") == "complete")
        counted = of_task.filter((pl.col("status") == "complete") | pl.col("late"))
        if counted["late"].null_count() < counted.height:
            series["misses", task] = counted["late"].drop_nulls().cast(pl.Float64).to_numpy()
        if task in idle or judged.is_empty():
            continue
        execution[task] = judged["execution_ns"].to_numpy()
        response[task] = judged["response_ns"].to_numpy()
        single["longest_response", task] = float(response[task].max())
    for isr, runs in by_name(run.isr_runs.filter("complete"), "isr").items():
        series["execution", isr] = runs["own_ns"].cast(pl.Float64).to_numpy()
    for task, free in zip(
        analysis.tasks["task"], analysis.tasks["stack_least_free_bytes"], strict=True
    ):
        if free is not None:
            single["stack", task] = float(free)
    series |= _sections(analysis) | _loads(analysis, idle) | _inversions(analysis)
    had_core = {subject for quantity, subject in series if quantity == "load"}
    return Observed(
        setup=_setup(analysis, name, idle),
        execution=execution,
        response=response,
        series=series,
        single=single,
        ran=frozenset({task for task in (*jobs, *had_core) if task not in idle} - _cores(analysis)),
    )


def _sections(analysis: Analysis) -> dict[Key, Values]:
    """Own execution inside each hold, by 'task in lock'."""
    holds = analysis.timeline.holds.filter("complete").select("task", "lock", "own_ns")
    return {
        ("section", f"{task} in {lock}"): of_it["own_ns"].cast(pl.Float64).to_numpy()
        for task, of_task in by_name(holds, "task").items()
        for lock, of_it in by_name(of_task, "lock").items()
    }


def _cores(analysis: Analysis) -> set[str]:
    return {f"core {core}" for core in analysis.cores["core"]}


def _edges(analysis: Analysis) -> npt.NDArray[np.int64]:
    start, end = analysis.window
    return np.linspace(start, end, min(WINDOWS, max(1, end - start)) + 1).astype(np.int64)


def _loads(analysis: Analysis, idle: set[str]) -> dict[Key, Values]:
    """Loads of cores, tasks and handlers, window by window; windows of unknown time left out.

    What ran on several cores counts with the sum over them, as in `measures.load.load_by_name`.
    """
    edges = _edges(analysis).tolist()
    windows = tuple(pairwise(edges))
    loads = load_windows(analysis.timeline.occupancy, windows).filter(pl.col("load").is_not_null())
    of_core = pl.concat_str(pl.lit("core "), pl.col("core").cast(pl.String))
    named = (
        loads.with_columns(pl.coalesce("who", of_core).alias("who"))
        .filter(~pl.col("who").is_in(list(idle)))
        .group_by("who", "start_ns", maintain_order=True)
        .agg(pl.col("load").sum())
        .sort("who", "start_ns")
    )
    return {
        ("load", str(who)): of_it["load"].to_numpy()
        for (who,), of_it in named.group_by("who", maintain_order=True)
    }


def _inversions(analysis: Analysis) -> dict[Key, Values]:
    """Time in inversions that begin in each window / the window, by victim."""
    edges = _edges(analysis)
    found: dict[Key, Values] = {}
    lasting = analysis.timeline.inversions.select(
        "victim", "start_ns", "third_party_ns", ns=pl.col("end_ns") - pl.col("start_ns")
    )
    for victim, rows in by_name(lasting, "victim").items():
        where = np.searchsorted(edges, rows["start_ns"].to_numpy(), side="right") - 1
        for quantity, column in (("inversion", "ns"), ("unbounded_inversion", "third_party_ns")):
            held = np.bincount(where, rows[column].to_numpy(), len(edges))[: len(edges) - 1]
            found[quantity, victim] = held / np.diff(edges)
    return found


def _setup(analysis: Analysis, name: str, idle: set[str]) -> Setup:
    system: System = analysis.timeline.system
    tasks = [task for task in system.tasks if task.name not in idle]
    priorities = analysis.tasks.filter(~pl.col("idle"))
    return Setup(
        name=name,
        keys=dict(system.run),
        hz=min((clock.hz for clock in system.clocks), default=NS_PER_S),
        order=system.order,
        policy=system.policy,
        cores=analysis.cores.height,
        span_ns=analysis.window[1] - analysis.window[0],
        coverage=analysis.quality.coverage,
        boots=analysis.quality.boots,
        priorities=dict(zip(priorities["task"], priorities["priority"], strict=True)),
        periods={task.name: task.period_ns for task in tasks},
        deadlines={task.name: task.deadline_ns for task in tasks},
    )


def _equal(one: dict[str, npt.NDArray[np.int64]], other: dict[str, npt.NDArray[np.int64]]) -> bool:
    return one.keys() == other.keys() and all(np.array_equal(one[k], other[k]) for k in one)
