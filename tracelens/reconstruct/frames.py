"""From the machine's finished rows to the documented tables."""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import polars as pl

from tracelens.handed import as_column
from tracelens.model import tables
from tracelens.model.columns import Entry, InversionKind, Occupant, State
from tracelens.model.log import Log
from tracelens.model.results import Timeline
from tracelens.reconstruct import arena as a
from tracelens.reconstruct.jobtable import job_tables
from tracelens.reconstruct.names import Named
from tracelens.reconstruct.overlay import overlaid
from tracelens.reconstruct.rows import (
    EPISODES,
    JOBS,
    STATES,
    Columns,
    Rows,
    narrow,
)
from tracelens.reconstruct.setup import Facts

REPAIR_TEXTS = (
    "leave of an interrupt handler not recorded",
    "wake of a core not recorded",
    "task started on another core than the one it ran on",
    "interrupt handlers nested deeper than can be followed",
    "more taken out of a queue than was put in",
)
UNUSED_TEXTS = (
    "leave without enter",
    "finish without arrive",
    "wake without sleep",
    "release of a suspended task",
    "unmask without mask",
)


class Labels:
    """Expressions that turn the machine's numbers into names.

    Negative numbers become null; with `plus_one` the numbers are kept plus one, and 0 does.
    """

    def __init__(self, named: Named) -> None:
        system = named.system
        self.tasks = [task.name for task in system.tasks]
        self.isrs = [isr.name for isr in system.isrs]
        self.objects = [*named.objects, "mask"]
        self._actors = list(dict.fromkeys([*self.tasks, *self.isrs]))
        self.cores = [core.id for core in system.cores]

    def task(self, column: str) -> pl.Expr:
        """Tasks."""
        return _named(column, self.tasks, self.tasks)

    def isr(self, column: str) -> pl.Expr:
        """Interrupt handlers."""
        return _named(column, self.isrs, self.isrs)

    def object(self, column: str, *, plus_one: bool = False) -> pl.Expr:
        """Locks, queues, words waited for, and mask."""
        return _named(column, self.objects, list(dict.fromkeys(self.objects)), plus_one)

    def actor(self, column: str, *, plus_one: bool = False) -> pl.Expr:
        """Tasks, then handlers; a task and a handler of one name are one category."""
        return _named(column, [*self.tasks, *self.isrs], self._actors, plus_one)

    def core(self, column: str, *, plus_one: bool = False) -> pl.Expr:
        """The cores' integers in the log."""
        number, is_known = _number(column, plus_one)
        if self.cores != list(range(len(self.cores))):
            number = number.replace(dict(enumerate(self.cores)))
        return pl.when(is_known).then(number).cast(pl.UInt8).alias(column)


def _number(column: str, plus_one: bool) -> tuple[pl.Expr, pl.Expr]:
    """The number, and whether there is one."""
    kept = pl.col(column)
    if not plus_one:
        return kept, kept >= 0
    # Not less than 0 where there is none: polars sends no table on in which such a place holds
    # the number of no category.
    return kept - (kept > 0).cast(pl.UInt8), kept > 0


def _named(column: str, names: list[str], categories: list[str], plus_one: bool = False) -> pl.Expr:
    number, is_known = _number(column, plus_one)
    if len(categories) < len(names):
        code = {name: number for number, name in enumerate(categories)}
        number = number.replace({n: code[name] for n, name in enumerate(names)})
    kept = pl.when(is_known).then(number).cast(narrow(len(categories)))
    return kept.cat.to(pl.Enum(categories)).alias(column)


def _coded(column: str, dtype: pl.Enum) -> pl.Expr:
    return pl.col(column).cast(pl.UInt8).cat.to(dtype)


def _flag(column: str) -> pl.Expr:
    return (pl.col(column) != 0).alias(column)


def _optional(column: str) -> pl.Expr:
    return pl.when(pl.col(column) >= 0).then(pl.col(column)).cast(pl.Int64).alias(column)


def _frame(columns: Sequence[np.ndarray] | np.ndarray, **expressions: pl.Expr) -> pl.DataFrame:
    """A table of the arrays, in order, each made what its expression says; None as it is."""
    raw = pl.DataFrame(
        {name: as_column(values) for name, values in zip(expressions, columns, strict=False)}
    )
    return raw.select(expression.alias(name) for name, expression in expressions.items())


def timeline(
    log: Log,
    named: Named,
    about: Facts,
    rows: Rows,
    boots: list[tuple[int, int]],
    span_ns: int,
    lost: int,
) -> Timeline:
    """All documented tables of a run. `boots` has the first event row and time of each boot."""
    labels = Labels(named)
    with ThreadPoolExecutor(1) as beside:
        others = beside.submit(_of_time_and_things, rows, labels)
        jobs, episodes, job_of = job_tables(
            rows.give_up(JOBS), rows.give_up(EPISODES), named, about, log, boots
        )
        return Timeline(
            log=replace(log, unused=_with_unused(log, rows.records(a.R_UNUSED))),
            system=named.system,
            span_ns=span_ns,
            lost_events=lost,
            episodes=_episodes(episodes, labels),
            jobs=jobs.with_columns(labels.task("task")),
            **_inversions(rows, labels, job_of),
            contradictions=_contradictions(log, rows.records(a.R_CONTRADICTION), labels),
            repairs=_reasons(log, rows.records(a.R_REPAIR), REPAIR_TEXTS),
            **others.result(),
        )


def _of_time_and_things(rows: Rows, labels: Labels) -> dict[str, pl.DataFrame]:
    """The tables that know nothing of jobs."""
    return {
        "task_states": _task_states(rows.give_up(STATES), labels),
        "occupancy": _occupancy(rows.occupants(), np.stack(rows.records(a.R_OVERRIDE)), labels),
        **_records(rows, labels),
    }


def _episodes(columns: Columns, labels: Labels) -> pl.DataFrame:
    job, start, end, via, by, entry = columns
    return _frame(
        [job, start, end, entry, by, via],
        job_id=pl.col("job_id"),
        start_ns=pl.col("start_ns"),
        end_ns=pl.col("end_ns"),
        entry=_coded("entry", Entry),
        by=labels.actor("by", plus_one=True),
        via=labels.object("via", plus_one=True),
    )


def _task_states(columns: Columns, labels: Labels) -> pl.DataFrame:
    start, end, waits, state, core, task = columns
    return _frame(
        [task, start, end, state, core, waits],
        task=labels.task("task"),
        start_ns=pl.col("start_ns"),
        end_ns=pl.col("end_ns"),
        state=_coded("state", State),
        core=labels.core("core", plus_one=True),
        waits_for=labels.object("waits_for", plus_one=True),
    )


def _occupancy(cores: list[Columns], overrides: np.ndarray, labels: Labels) -> pl.DataFrame:
    """The rows of a core in order of time, those of the next after them, without a copy."""
    of_cores = []
    ids = labels.cores or [0]  # without a core there are no rows
    for number, (id_, columns) in enumerate(zip(ids, cores, strict=True)):
        stretches = overrides[1:, overrides[0] == number].T
        start, end, who, occupant = overlaid(columns, stretches)
        one = _frame(
            [start, end, occupant, who],
            start_ns=pl.col("start_ns"),
            end_ns=pl.col("end_ns"),
            occupant=_coded("occupant", Occupant),
            who=labels.actor("who", plus_one=True),
        )
        core = pl.lit(id_, pl.UInt8).alias("core")
        of_cores.append(one.select(core, *one.columns))
    return pl.concat(of_cores, rechunk=False)


def _records(rows: Rows, labels: Labels) -> dict[str, pl.DataFrame]:
    """The rarer tables whose records have the tables' own columns, in order."""
    span = {"start_ns": pl.col("start_ns"), "end_ns": pl.col("end_ns")}
    # What a loss ends in arrears has been counted further than it lasts.
    own_ns = pl.min_horizontal("own_ns", pl.col("end_ns") - pl.col("start_ns"))
    return {
        "holds": _frame(
            rows.records(a.R_HOLD),
            lock=labels.object("lock"),
            task=labels.task("task"),
            **span,
            own_ns=own_ns,
            complete=_flag("complete"),
        ),
        "lock_waits": _frame(
            rows.records(a.R_WAIT),
            lock=labels.object("lock"),
            wanted=labels.object("wanted"),
            task=labels.task("task"),
            **span,
            spun=_flag("spun"),
            got=_flag("got"),
            owner=labels.task("owner"),
        ),
        "isr_runs": _frame(
            rows.records(a.R_ISR),
            isr=labels.isr("isr"),
            core=labels.core("core"),
            **span,
            own_ns=own_ns,
            pend_ns=_optional("pend_ns"),
            complete=_flag("complete"),
        ),
        "queue_levels": _frame(
            rows.records(a.R_LEVEL),
            queue=labels.object("queue"),
            at_ns=pl.col("at_ns"),
            items=_optional("items"),
        ),
        "queue_items": _frame(
            rows.records(a.R_ITEM),
            queue=labels.object("queue"),
            send_ns=pl.col("send_ns"),
            receive_ns=pl.col("receive_ns"),
        ),
        "masks": _frame(
            rows.records(a.R_MASK),
            core=labels.core("core"),
            what=pl.when(pl.col("what") == 1).then(pl.lit("sched")).otherwise(pl.lit("irq")),
            who=labels.actor("who"),
            **span,
        ),
        "deadlocks": _deadlocks(rows.records(a.R_DEADLOCK), labels),
    }


def _inversions(rows: Rows, labels: Labels, job_of: np.ndarray) -> dict[str, pl.DataFrame]:
    r = rows.records(a.R_INVERSION)
    r[9] = np.where(r[9] >= 0, job_of[r[9]], -1)
    found = _frame(
        r,
        number=pl.col("number"),
        kind=_coded("kind", InversionKind),
        victim=labels.task("victim"),
        lock=labels.object("lock"),
        start_ns=pl.col("start_ns"),
        end_ns=pl.col("end_ns"),
        holder_ns=pl.col("holder_ns"),
        third_party_ns=pl.col("third_party_ns"),
        raised=_flag("raised"),
        job_id=_optional("job_id"),
        wait=pl.col("wait"),
    )
    links = _frame(
        rows.records(a.R_LINK),
        number=pl.col("number"),
        position=pl.col("position"),
        chain=labels.task("chain").cast(pl.String),
    )
    chains = links.sort("number", "position").group_by("number").agg("chain")
    found = (
        found.join(chains, on="number", how="left", maintain_order="left")
        .sort("start_ns", "number")
        .with_row_index("inversion_id")
        .with_columns(pl.col("inversion_id").cast(pl.Int64))
    )
    return {
        "inversions": found.select(*tables.INVERSIONS.columns),
        "third_parties": _third_parties(rows.records(a.R_THIRD), found, labels),
    }


def _third_parties(r: Columns, inversions: pl.DataFrame, labels: Labels) -> pl.DataFrame:
    """Third parties of the waits that were inversions."""
    parts = _frame(r, wait=pl.col("wait"), task=pl.col("task"), ns=pl.col("ns"))
    waits = inversions.filter(pl.col("wait") >= 0).select("wait", "inversion_id")
    return (
        parts.join(waits, on="wait")
        .group_by("inversion_id", "task")
        .agg(pl.col("ns").sum())
        .sort("inversion_id", "task")
        .with_columns(labels.task("task"))
    )


def _deadlocks(r: Columns, labels: Labels) -> pl.DataFrame:
    cycles = _frame(
        r,
        number=pl.col("number"),
        position=pl.col("position"),
        tasks=labels.task("tasks").cast(pl.String),
        locks=labels.object("locks").cast(pl.String),
        at_ns=pl.col("at_ns"),
    )
    return (
        cycles.sort("number", "position")
        .group_by("number", maintain_order=True)
        .agg(pl.col("at_ns").first(), "tasks", "locks")
        .drop("number")
    )


def _lines(log: Log, events: np.ndarray) -> dict[str, pl.Series]:
    return {
        "part": log.events["part"].gather(events),
        "line": log.events["line"].gather(events),
    }


def _contradictions(log: Log, r: Columns, labels: Labels) -> pl.DataFrame:
    found = _frame(
        r[1:6],
        core=labels.core("core"),
        ran=labels.task("ran"),
        acted=labels.task("acted"),
        start_ns=pl.col("start_ns"),
        end_ns=pl.col("end_ns"),
    )
    places = _lines(log, r[0])
    return found.select(places["part"], places["line"], *found.columns)


def _reasons(log: Log, r: Columns, texts: tuple[str, ...]) -> pl.DataFrame:
    reason = pl.Series(np.array(texts)[r[0]] if len(r[0]) else [], dtype=pl.String)
    return pl.DataFrame({**_lines(log, r[1]), "reason": reason})


def _with_unused(log: Log, r: Columns) -> pl.DataFrame:
    """The log's unused lines and those that only the reconstruction could not use."""
    if not len(r[0]):
        return log.unused
    several = len(log.sources) > 1
    place = pl.col("line").cast(pl.String)
    if several:
        names = pl.Series(list(log.sources), dtype=pl.String)
        sources = pl.lit(names).gather(pl.col("part"))
        place = pl.concat_str(sources, pl.lit(":"), place)
    more = (
        _reasons(log, r, UNUSED_TEXTS)
        .with_columns(place.alias("place"))
        .group_by("reason", maintain_order=True)
        .agg(pl.len().cast(pl.Int64).alias("count"), pl.col("place").head(5).alias("first_lines"))
    )
    return pl.concat([log.unused, more])
