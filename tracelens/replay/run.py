"""A recorded run again, with something changed: what would have happened, and how sure that is."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import polars as pl

from tracelens.measures.contract import statistics
from tracelens.model.log import Log
from tracelens.model.results import Timeline
from tracelens.model.system import System
from tracelens.reconstruct import reconstruct
from tracelens.replay.change import changed
from tracelens.replay.changes import Change
from tracelens.replay.fidelity import Fidelity, fidelity
from tracelens.replay.machine import replayed
from tracelens.replay.plan import Plan
from tracelens.replay.planning import plan
from tracelens.replay.power import Drawn, drawn

SAME_SHARE = 0.01
"""A longest response that moves by no more than this share of itself is the same."""


@dataclass(frozen=True, slots=True)
class Prediction:
    """A run replayed with changes.

    `unchanged` is the run replayed as it was; a prediction is worth no more than its `fidelity`.
    `tasks` has a row for each task with jobs, in order of declaration: task, whether it was
    removed, `change` ('better', 'worse', 'same' or 'removed'; from the unchanged replay to the
    changed one, so that an error of the replay itself does not count), deadline_ns, and of the
    record (`recorded_…`) and of the prediction (`predicted_…`): jobs, misses, p50_ns, p95_ns and
    max_ns of the responses of complete jobs, and worst_lateness_ns (of open jobs too; null without
    a deadline).
    """

    recorded: Timeline
    unchanged: Timeline
    predicted: Timeline
    changes: tuple[Change, ...]
    fidelity: Fidelity
    tasks: pl.DataFrame

    @property
    def power(self) -> tuple[Drawn, Drawn] | None:
        """What the unchanged and the predicted run draw; None where no currents are declared."""
        before, then = drawn(self.unchanged), drawn(self.predicted)
        return None if before is None or then is None else (before, then)

    @property
    def worse(self) -> list[str]:
        """The tasks that pay for it."""
        return self.tasks.filter(pl.col("change") == "worse")["task"].to_list()

    @property
    def log(self) -> Log:
        """The predicted log."""
        return self.predicted.log


@dataclass(frozen=True, slots=True)
class Replayer:
    """A run that can be replayed many times: extracted once, and replayed unchanged once."""

    recorded: Timeline
    plan: Plan
    unchanged: Timeline
    fidelity: Fidelity

    def predict(self, changes: Sequence[Change] = ()) -> Prediction:
        """Replay the run with changes. Raises `UsageError` for changes that make no sense."""
        predicted = self.unchanged
        if changes:
            predicted = reconstruct(replayed(changed(self.plan, changes)))
        return Prediction(
            self.recorded,
            self.unchanged,
            predicted,
            tuple(changes),
            self.fidelity,
            compared(
                self.recorded.jobs,
                self.unchanged.jobs,
                predicted.jobs,
                self.recorded.system,
                predicted.system,
                self.fidelity.tolerance_ns,
            ),
        )


def prepare(run: Timeline, say: Callable[[str], None] = lambda _what: None) -> Replayer:
    """Extract a run and replay it unchanged. Raises `UsageError` if nothing can be replayed."""
    say("extracting the jobs")
    extracted = plan(run)
    say("replaying the run unchanged")
    unchanged = reconstruct(replayed(extracted))
    tasks = extracted.stretches[0].scripts
    said = fidelity(run, unchanged, tasks, extracted.usual_cost_ns, extracted.notes)
    return Replayer(run, extracted, unchanged, said)


def replay(run: Timeline, changes: Sequence[Change] = ()) -> Prediction:
    """What a recorded run would have been with some changes, and how far to believe it.

    Raises `UsageError` for changes that make no sense and for a run without priorities.
    """
    return prepare(run).predict(changes)


def compared(
    recorded: pl.DataFrame,
    unchanged: pl.DataFrame,
    predicted: pl.DataFrame,
    system: System,
    then: System,
    tolerance_ns: int,
) -> pl.DataFrame:
    """The table `Prediction.tasks`, from the jobs of three runs and the systems before and then."""
    before, base, after = (_summary(jobs) for jobs in (recorded, unchanged, predicted))
    order = {task.name: number for number, task in enumerate(system.tasks)}
    there = {task.name for task in then.tasks}
    joined = (
        before.rename(lambda name: name if name == "task" else f"recorded_{name}")
        .join(base.rename(lambda name: name if name == "task" else f"base_{name}"), "task", "left")
        .join(
            after.rename(lambda name: name if name == "task" else f"predicted_{name}"),
            "task",
            "left",
        )
    )
    slack = pl.max_horizontal(pl.lit(tolerance_ns), SAME_SHARE * pl.col("base_max_ns")).fill_null(0)
    grew = (pl.col("predicted_max_ns") - pl.col("base_max_ns")).fill_null(0)
    more = (pl.col("predicted_misses") - pl.col("base_misses")).fill_null(0)
    removed = ~pl.col("task").is_in(list(there))
    stuck = (pl.col("base_jobs") > 0) & (pl.col("predicted_jobs").fill_null(0) == 0)
    change = (
        pl.when(removed)
        .then(pl.lit("removed"))
        .when(stuck | (more > 0) | ((more == 0) & (grew > slack)))
        .then(pl.lit("worse"))
        .when((more < 0) | (grew < -slack))
        .then(pl.lit("better"))
        .otherwise(pl.lit("same"))
    )
    deadlines = {task.name: task.deadline_ns for task in then.tasks}
    return (
        joined.with_columns(
            change=change,
            removed=removed,
            deadline_ns=pl.col("task").replace_strict(
                deadlines, default=None, return_dtype=pl.Int64
            ),
            order=pl.col("task").replace_strict(order, default=len(order)),
        )
        .sort("order")
        .drop("order", pl.selectors.starts_with("base_"))
    )


def _summary(jobs: pl.DataFrame) -> pl.DataFrame:
    """Responses and misses by task. Columns task, jobs, misses, p50_ns, …, worst_lateness_ns."""
    complete = jobs.lazy().filter(pl.col("status") == "complete")
    task = pl.col("task").cast(pl.String)
    responses = complete.group_by(task).agg(
        pl.len().cast(pl.Int64).alias("jobs"),
        *statistics("response_ns", "r", ("p50", "p95", "max")),
    )
    judged = jobs.lazy().filter(pl.col("status").is_in(["complete", "open"]))
    lateness = judged.group_by(task).agg(
        misses=pl.col("late").sum().cast(pl.Int64),
        worst_lateness_ns=(pl.col("response_ns") - pl.col("deadline_ns")).max(),
    )
    return (
        lateness.join(responses, "task", "left")
        .select(
            "task",
            pl.col("jobs").fill_null(0),
            "misses",
            p50_ns="r_p50_ns",
            p95_ns="r_p95_ns",
            max_ns="r_max_ns",
            worst_lateness_ns="worst_lateness_ns",
        )
        .collect()
    )
