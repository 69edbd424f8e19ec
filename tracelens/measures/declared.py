"""What is declared about the things of a system, as columns."""

import polars as pl

from tracelens.model.system import System
from tracelens.reconstruct.setup import is_idle


def tasks(system: System) -> pl.DataFrame:
    """One row a task, in order of declaration: what the measures need of its declaration."""
    return pl.DataFrame(
        {
            "task": [task.name for task in system.tasks],
            "declared_priority": [task.priority for task in system.tasks],
            "idle": [is_idle(task) for task in system.tasks],
            "period_ns": [task.period_ns for task in system.tasks],
            "deadline_ns": [task.deadline_ns for task in system.tasks],
            "stack_size_bytes": [task.stack_bytes for task in system.tasks],
        },
        schema={
            "task": pl.String,
            "declared_priority": pl.Int64,
            "idle": pl.Boolean,
            "period_ns": pl.Int64,
            "deadline_ns": pl.Int64,
            "stack_size_bytes": pl.Int64,
        },
    )


def core_names(system: System, cores: list[int]) -> dict[int, str]:
    """The name of each core, its number where none is declared; in ascending order of core."""
    declared = {core.id: core.name for core in system.cores}
    known = sorted(declared.keys() | set(cores))
    return {core: declared.get(core, str(core)) for core in known}
