"""From a machine that has run to polars tables: its events and its truth."""

from array import array
from typing import Final

import numpy as np
import polars as pl

from tracelens.engine.machine import Machine
from tracelens.model.columns import Entry, InversionKind, JobStatus, Name, Occupant, Table
from tracelens.model.events import CODE, EVENT, EVENTS
from tracelens.model.tables import (
    DEADLOCKS,
    EPISODES,
    INVERSIONS,
    ISR_RUNS,
    JOBS,
    OCCUPANCY,
    THIRD_PARTIES,
)

NS_PER_S: Final = 1_000_000_000


def to_ns(ticks: pl.Expr, hz: int) -> pl.Expr:
    """Ticks → nanoseconds, whole seconds and remainder apart, so that nothing overflows."""
    return (ticks // hz) * NS_PER_S + (ticks % hz) * NS_PER_S // hz


def events(m: Machine, tokens: dict[str, str], first_line: int) -> pl.DataFrame:
    """The event table (`model.events.EVENTS`).

    `tokens` gives the id of each declared name; `first_line` is the line of the first event.
    With a counter that stops in sleep, `wake` tells how many ticks it stood still.
    """
    time, core, code, subject, value = _columns(m.out, 5)
    words = pl.Series([tokens.get(name, name) for name in m.things.names], dtype=pl.String)
    frame = pl.DataFrame({"ticks": time, "core": core, "event": code, "s": subject, "v": value})
    word, v = pl.lit(words), pl.col("v")
    if m.clock_stops:
        slept = pl.col("ticks") - pl.col("ticks").shift()
        woke = pl.col("event") == CODE["wake"]
        frame = frame.with_columns(pl.when(woke).then(-2 - slept).otherwise(v).alias("v"))
    return frame.select(
        pl.lit(0, pl.UInt16).alias("part"),
        (pl.int_range(pl.len(), dtype=pl.UInt32) + first_line).alias("line"),
        pl.lit(0, pl.UInt16).alias("boot"),
        to_ns(pl.col("ticks"), m.ticks.hz).alias("time_ns"),
        pl.col("core").cast(pl.UInt8),
        pl.col("event").cast(pl.UInt8).cat.to(EVENT),
        word.gather("s").cast(EVENTS["subject"]).alias("subject"),
        pl.when(v >= 0)
        .then(word.gather(v.clip(0)))
        .when(v < -1)
        .then((-2 - v).cast(pl.String))
        .cast(EVENTS["value"])
        .alias("value"),
    )


class Tables:
    """Makes the truth's tables; all have the columns of `model.tables`."""

    def __init__(self, m: Machine, until: int) -> None:
        self._m = m
        self._until = until
        self._hz = m.ticks.hz
        self._name = pl.Enum(m.things.names)
        self._jobs, self._serial = self._make_jobs()

    def jobs(self) -> pl.DataFrame:
        """`model.tables.JOBS`; the places in the log are null."""
        return self._jobs

    def _make_jobs(self) -> tuple[pl.DataFrame, pl.DataFrame]:
        m = self._m
        raw = array("q")
        for job in m.truth.jobs:
            task = job.task
            deadline = -1 if task.deadline is None else task.deadline
            raw.extend((job.serial, task.index, task.name, job.number))
            raw.extend((job.release, job.start, job.end, job.inferred, deadline))
        names = ("serial", "order", "task", "job", "release", "start", "end", "inferred", "limit")
        frame = pl.DataFrame(dict(zip(names, _columns(raw, 9), strict=True)), orient="col")
        frame = frame.sort("order", "job").with_row_index("job_id")
        serial = frame.select("serial", pl.col("job_id").cast(pl.Int64))
        own = (
            self._raw_episodes()
            .filter(pl.col("entry") == Entry.categories.to_list().index("execution"))
            .group_by("serial")
            .agg((self._ns("end") - self._ns("start")).sum().alias("execution_ns"))
        )
        ended = pl.when(pl.col("end") >= 0).then("end").otherwise(self._until)
        response = to_ns(ended, self._hz) - self._ns("release")
        relative = pl.when(pl.col("limit") >= 0).then(self._ns("limit"))
        frame = frame.join(own, "serial", how="left", maintain_order="left").select(
            pl.col("job_id").cast(pl.Int64),
            self._named("task"),
            "job",
            self._ns("release").alias("release_ns"),
            pl.when(pl.col("start") >= 0).then(self._ns("start")).alias("start_ns"),
            to_ns(ended, self._hz).alias("end_ns"),
            pl.when(pl.col("end") >= 0)
            .then(pl.lit("complete"))
            .otherwise(pl.lit("open"))
            .cast(JobStatus)
            .alias("status"),
            pl.col("inferred").cast(pl.Boolean),
            pl.lit(0, pl.Int64).alias("hidden"),
            pl.col("execution_ns").fill_null(0),
            relative.alias("deadline_ns"),
            response.alias("response_ns"),
            (response > relative).fill_null(False).alias("late"),
        )
        return self._conform(frame, JOBS), serial

    def episodes(self) -> pl.DataFrame:
        """`model.tables.EPISODES`, in order of job, then time."""
        frame = (
            self._raw_episodes()
            .join(self._serial, "serial")
            .sort("job_id", "start")
            .select(
                "job_id",
                self._ns("start").alias("start_ns"),
                self._ns("end").alias("end_ns"),
                pl.col("entry").cast(pl.UInt8).cat.to(Entry),
                self._named("by"),
                self._named("via"),
            )
        )
        return self._conform(frame, EPISODES)

    def _raw_episodes(self) -> pl.DataFrame:
        names = ("serial", "start", "end", "entry", "by", "via")
        return pl.DataFrame(
            dict(zip(names, _columns(self._m.truth.episodes, 6), strict=True)), orient="col"
        )

    def inversions(self) -> tuple[pl.DataFrame, pl.DataFrame]:
        """`model.tables.INVERSIONS` and `THIRD_PARTIES`."""
        truth = self._m.truth
        found = sorted(truth.inversions, key=lambda pair: (pair[0].start, pair[0].victim))
        words = self._m.things.names
        job_of = dict(zip(*self._serial.to_dict(as_series=False).values(), strict=True))
        rows, thirds = [], []
        for number, (inversion, end) in enumerate(found):
            rows.append(
                {
                    "inversion_id": number,
                    "kind": inversion.kind,
                    "victim": words[inversion.victim],
                    "lock": words[inversion.lock],
                    "chain": [words[name] for name in inversion.chain],
                    "start": inversion.start,
                    "end": end,
                    "holder": inversion.holder,
                    "third": sum(inversion.third.values()),
                    "raised": inversion.raised,
                    "job_id": job_of[inversion.job],
                }
            )
            for name, ticks in inversion.third.items():
                thirds.append({"inversion_id": number, "task": words[name], "ticks": ticks})
        kinds: dict[str, pl.DataType | type[pl.DataType]] = {
            "inversion_id": pl.Int64,
            "kind": pl.UInt8,
            "victim": pl.String,
            "lock": pl.String,
            "chain": pl.List(pl.String),
            "start": pl.Int64,
            "end": pl.Int64,
            "holder": pl.Int64,
            "third": pl.Int64,
            "raised": pl.Boolean,
            "job_id": pl.Int64,
        }
        frame = pl.DataFrame(rows, schema=kinds).select(
            "inversion_id",
            pl.col("kind").cat.to(InversionKind),
            "victim",
            "lock",
            "chain",
            self._ns("start").alias("start_ns"),
            self._ns("end").alias("end_ns"),
            self._ns("holder").alias("holder_ns"),
            self._ns("third").alias("third_party_ns"),
            "raised",
            "job_id",
        )
        third = pl.DataFrame(
            thirds, schema={"inversion_id": pl.Int64, "task": pl.String, "ticks": pl.Int64}
        ).select("inversion_id", "task", self._ns("ticks").alias("ns"))
        return self._conform(frame, INVERSIONS), self._conform(third, THIRD_PARTIES)

    def deadlocks(self) -> pl.DataFrame:
        """`model.tables.DEADLOCKS`."""
        words = self._m.things.names
        frame = pl.DataFrame(
            [
                (at, [words[name] for name in tasks], [words[name] for name in locks])
                for at, tasks, locks in self._m.truth.deadlocks
            ],
            schema={"at": pl.Int64, "tasks": pl.List(pl.String), "locks": pl.List(pl.String)},
            orient="row",
        )
        return self._conform(
            frame.select(self._ns("at").alias("at_ns"), "tasks", "locks"), DEADLOCKS
        )

    def occupancy(self) -> pl.DataFrame:
        """`model.tables.OCCUPANCY`."""
        truth = self._m.truth
        parts = []
        for core, (starts, segments) in enumerate(zip(truth.starts, truth.segments, strict=True)):
            parts.append(
                pl.DataFrame(
                    {
                        "core": core,
                        "start": starts,
                        "end": [*starts[1:], self._until],
                        "kind": [segment[0] for segment in segments],
                        "who": [segment[1] for segment in segments],
                    },
                    schema_overrides={"start": pl.Int64, "end": pl.Int64},
                )
            )
        idle = Occupant.categories.to_list().index("idle")
        frame = pl.concat(parts).filter(pl.col("end") > pl.col("start"))
        frame = frame.with_columns(
            pl.when(pl.col("kind") != idle).then("who").otherwise(-1).alias("who")
        )
        changed = pl.any_horizontal(
            (pl.col(column) != pl.col(column).shift()).fill_null(True)
            for column in ("core", "kind", "who")
        )
        frame = (
            frame.with_columns(changed.cum_sum().alias("run"))
            .group_by("run", maintain_order=True)
            .agg(pl.first("core", "start", "kind", "who"), pl.last("end"))
            .select(
                pl.col("core").cast(pl.UInt8),
                self._ns("start").alias("start_ns"),
                self._ns("end").alias("end_ns"),
                pl.col("kind").cast(pl.UInt8).cat.to(Occupant).alias("occupant"),
                self._named("who"),
            )
        )
        return self._conform(frame, OCCUPANCY)

    def isr_runs(self) -> pl.DataFrame:
        """`model.tables.ISR_RUNS`; `pend_ns` is known here whether the log tells it or not."""
        names = ("isr", "core", "start", "end", "own", "pend")
        frame = pl.DataFrame(
            dict(zip(names, _columns(self._m.truth.handler_runs, 6), strict=True)), orient="col"
        ).sort("start", maintain_order=True)
        return self._conform(
            frame.select(
                self._named("isr"),
                pl.col("core").cast(pl.UInt8),
                self._ns("start").alias("start_ns"),
                self._ns("end").alias("end_ns"),
                self._ns("own").alias("own_ns"),
                self._ns("pend").alias("pend_ns"),
                pl.lit(True).alias("complete"),
            ),
            ISR_RUNS,
        )

    def _ns(self, column: str) -> pl.Expr:
        return to_ns(pl.col(column), self._hz)

    def _named(self, column: str) -> pl.Expr:
        words = pl.lit(pl.Series(self._m.things.names, dtype=self._name))
        index = pl.col(column)
        return pl.when(index >= 0).then(words.gather(index.clip(0))).alias(column)

    def _conform(self, frame: pl.DataFrame, table: Table) -> pl.DataFrame:
        """The contract's columns, in its order and types; those not known are null."""
        columns = []
        for column, dtype in table.schema().items():
            kind = self._name if dtype == Name else dtype
            have = pl.col(column) if column in frame.columns else pl.lit(None)
            columns.append(have.cast(kind).alias(column))
        return frame.select(columns)


def _columns(flat: "array[int]", width: int) -> list[np.ndarray]:
    table = np.frombuffer(flat, np.int64).reshape(-1, width) if flat else np.empty((0, width), "q")
    return [np.ascontiguousarray(table[:, column]) for column in range(width)]
