"""Which declared thing a token of an event names."""

from collections.abc import Sequence
from typing import Protocol

import polars as pl

from tracelens.model.results import Timeline
from tracelens.model.system import Place


class Named(Protocol):
    """A declared thing that events call by its id."""

    @property
    def id(self) -> str:
        """The token that events write."""

    @property
    def name(self) -> str:
        """What people call it."""

    @property
    def line(self) -> Place | None:
        """Where it is declared."""


def known(declared: Sequence[Named], completed: Sequence[Named]) -> list[Named]:
    """Everything that a token may mean.

    `declared` is what the log declares: several ids may share a name. `completed` has one record a
    name, with what a system file and the events added; it speaks for the ids that are left.
    """
    ids = {thing.id for thing in declared}
    return [*declared, *(thing for thing in completed if thing.id not in ids)]


def actors(run: Timeline) -> list[Named]:
    """The tasks and interrupt handlers of a run, for `with_name`."""
    log, system = run.log.declared, run.system
    return [*known(log.tasks, system.tasks), *known(log.isrs, system.isrs)]


def queue_ids(run: Timeline) -> list[Named]:
    """The queues of a run, for `with_name`."""
    return known(run.log.declared.queues, run.system.queues)


def with_name(
    events: pl.DataFrame, token: str, things: Sequence[Named], name: str = "name"
) -> pl.DataFrame:
    """Events with one column more: the name of the thing that their column `token` means.

    `events` has the columns `part` and `line` of the event table; their order stays. An id that is
    declared several times means the last declaration above the event's line, and above all of them
    the first. A token that is not declared stands for itself; an empty one stays null.
    """
    frame = events.with_columns(pl.col(token).cast(pl.String).alias(name))
    names = {thing.id: thing.name for thing in things}
    if len(names) == len(things):
        return frame.with_columns(pl.col(name).replace(names))
    meant = _meanings(things)
    return (
        frame.with_row_index("_row")
        .with_columns(_place=_place(pl.col("part"), pl.col("line")))
        .sort("_place")
        .join_asof(meant, on="_place", by_left=name, by_right="_id", check_sortedness=False)
        .sort("_row")
        .with_columns(pl.coalesce("_means", name).alias(name))
        .drop("_row", "_place", "_means")
    )


def _place(part: pl.Expr, line: pl.Expr) -> pl.Expr:
    """A place in the log as one integer that grows from line to line and from part to part."""
    return part.cast(pl.Int64) * 2**32 + line.cast(pl.Int64)


def _meanings(things: Sequence[Named]) -> pl.DataFrame:
    return (
        pl.DataFrame(
            {
                "_id": [thing.id for thing in things],
                "part": [(thing.line or (0, 0))[0] for thing in things],
                "line": [(thing.line or (0, 0))[1] for thing in things],
                "_means": [thing.name for thing in things],
            },
            schema_overrides={"_id": pl.String, "_means": pl.String},
        )
        .with_columns(_place=_place(pl.col("part"), pl.col("line")))
        .sort("_place")
        # The first declaration of an id holds for what stands above it, too.
        .with_columns(_place=pl.when(pl.col("_id").is_first_distinct()).then(0).otherwise("_place"))
        .sort("_place", maintain_order=True)
        .select("_id", "_place", "_means")
    )
