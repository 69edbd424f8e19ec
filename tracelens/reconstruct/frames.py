"""From the machine's finished rows to the documented tables."""

from dataclasses import replace

import numpy as np
import polars as pl

from tracelens.model import tables
from tracelens.model.log import Log
from tracelens.model.results import Timeline
from tracelens.reconstruct import arena as a
from tracelens.reconstruct.jobtable import job_tables
from tracelens.reconstruct.names import Named
from tracelens.reconstruct.overlay import apply_overrides
from tracelens.reconstruct.rows import EPISODES, JOBS, OCCUPANTS, STATES, Rows
from tracelens.reconstruct.setup import Facts

REPAIR_TEXTS = (
    "leave of an interrupt handler not recorded",
    "wake of a core not recorded",
    "task started on another core than the one it ran on",
    "interrupt handlers nested deeper than can be followed",
)
UNUSED_TEXTS = (
    "leave without enter",
    "finish without arrive",
    "wake without sleep",
    "release of a suspended task",
)

class Labels:
    """The names behind the machine's numbers, as Enum columns."""

    def __init__(self, named: Named) -> None:
        system = named.system
        self.task = _Label([task.name for task in system.tasks])
        self.isr = _Label([isr.name for isr in system.isrs])
        self.object = _Label([*named.objects, "mask"])
        self.actor = _Label([*self.task.names, *self.isr.names])
        self.cores = np.array([core.id for core in system.cores], np.uint8)

    def core(self, numbers: np.ndarray) -> pl.Series:
        """The cores' integers in the log; null where the number is negative."""
        ids = self.cores[np.maximum(numbers, 0)]
        series = pl.Series(ids, dtype=pl.UInt8)
        return _nulled(series, numbers)


class _Label:
    def __init__(self, names: list[str]) -> None:
        self.names = names
        distinct = list(dict.fromkeys(names))
        self.dtype = pl.Enum(distinct)
        code = {name: number for number, name in enumerate(distinct)}
        self._codes = np.array([*(code[name] for name in names), len(distinct)], np.uint32)
        self._plain = len(distinct) == len(names)

    def series(self, numbers: np.ndarray) -> pl.Series:
        """Numbers as an Enum of names; null where negative."""
        codes = numbers if self._plain else self._codes[numbers]
        physical = pl.UInt8 if len(self.names) < 256 else pl.UInt32
        series = pl.Series(codes.astype(np.uint8 if physical == pl.UInt8 else np.uint32))
        return _nulled(series, numbers).cat.to(self.dtype)


def _nulled(series: pl.Series, numbers: np.ndarray) -> pl.Series:
    missing = numbers < 0
    if not missing.any():
        return series
    return (
        pl.DataFrame({"values": series, "missing": missing})
        .select(pl.when(~pl.col("missing")).then(pl.col("values")))
        .to_series()
    )


def _coded(numbers: np.ndarray, dtype: pl.Enum) -> pl.Series:
    return pl.Series(numbers.astype(np.uint8)).cat.to(dtype)


def _flags(numbers: np.ndarray) -> pl.Series:
    return pl.Series(numbers != 0)


def _optional(numbers: np.ndarray) -> pl.Series:
    return _nulled(pl.Series(numbers.astype(np.int64)), numbers)


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
    jobs, episodes = job_tables(
        rows.give_up(JOBS), rows.give_up(EPISODES), named, about, labels, log, boots
    )
    job_of = jobs.old_to_new
    contradictions = _places(log, rows.records(a.R_CONTRADICTION), labels)
    repairs = _reasons(log, rows.records(a.R_REPAIR), REPAIR_TEXTS)
    return Timeline(
        log=replace(log, unused=_with_unused(log, rows.records(a.R_UNUSED))),
        system=named.system,
        span_ns=span_ns,
        lost_events=lost,
        task_states=_task_states(rows.give_up(STATES), labels),
        occupancy=_occupancy(rows, labels),
        jobs=jobs.frame,
        episodes=episodes,
        holds=_holds(rows.records(a.R_HOLD), labels),
        lock_waits=_lock_waits(rows.records(a.R_WAIT), labels),
        **_inversions(rows, labels, job_of),
        deadlocks=_deadlocks(rows.records(a.R_DEADLOCK), labels),
        isr_runs=_isr_runs(rows.records(a.R_ISR), labels),
        queue_levels=_queue_levels(rows.records(a.R_LEVEL), labels),
        queue_items=_queue_items(rows.records(a.R_ITEM), labels),
        masks=_masks(rows.records(a.R_MASK), labels),
        contradictions=contradictions,
        repairs=repairs,
    )


def _task_states(columns: list[np.ndarray], labels: Labels) -> pl.DataFrame:
    task, start, end, state, core, waits = columns
    return pl.DataFrame(
        {
            "task": labels.task.series(task),
            "start_ns": start,
            "end_ns": end,
            "state": _coded(state, tables.State),
            "core": labels.core(core),
            "waits_for": labels.object.series(waits),
        }
    )


def _occupancy(rows: Rows, labels: Labels) -> pl.DataFrame:
    core, start, end, occupant, who = apply_overrides(
        rows.give_up(OCCUPANTS), rows.records(a.R_OVERRIDE)
    )
    actor = np.where((who >= 0) & (occupant == a.IN_ISR), who + len(labels.task.names), who)
    return pl.DataFrame(
        {
            "core": labels.core(core),
            "start_ns": start,
            "end_ns": end,
            "occupant": _coded(occupant, tables.Occupant),
            "who": labels.actor.series(actor),
        }
    )


def _holds(r: np.ndarray, labels: Labels) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "lock": labels.object.series(r[:, 0]),
            "task": labels.task.series(r[:, 1]),
            "start_ns": r[:, 2],
            "end_ns": r[:, 3],
            "own_ns": r[:, 4],
            "complete": _flags(r[:, 5]),
        }
    )


def _lock_waits(r: np.ndarray, labels: Labels) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "lock": labels.object.series(r[:, 0]),
            "wanted": labels.object.series(r[:, 1]),
            "task": labels.task.series(r[:, 2]),
            "start_ns": r[:, 3],
            "end_ns": r[:, 4],
            "spun": _flags(r[:, 5]),
            "got": _flags(r[:, 6]),
            "owner": labels.task.series(r[:, 7]),
        }
    )


def _inversions(rows: Rows, labels: Labels, job_of: np.ndarray) -> dict[str, pl.DataFrame]:
    r = rows.records(a.R_INVERSION)
    number = r[:, 0]
    order = np.lexsort((number, r[:, 4]))
    r = r[order]
    new_number = np.empty(len(order), np.int64)
    new_number[number[order]] = np.arange(len(order))
    links = rows.records(a.R_LINK)[:, :3]
    chains: list[list[str]] = [[] for _ in range(len(r))]
    for inversion, _, task in links[np.lexsort((links[:, 1], links[:, 0]))].tolist():
        chains[new_number[inversion]].append(labels.task.names[task])
    frame = pl.DataFrame(
        {
            "inversion_id": np.arange(len(r)),
            "kind": _coded(r[:, 1], tables.InversionKind),
            "victim": labels.task.series(r[:, 2]),
            "lock": labels.object.series(r[:, 3]),
            "chain": pl.Series(chains, dtype=pl.List(pl.String)),
            "start_ns": r[:, 4],
            "end_ns": r[:, 5],
            "holder_ns": r[:, 6],
            "third_party_ns": r[:, 7],
            "raised": _flags(r[:, 8]),
            "job_id": _optional(np.where(r[:, 9] >= 0, job_of[r[:, 9]], -1)),
        }
    )
    return {"inversions": frame, "third_parties": _third_parties(rows, r, labels)}


def _third_parties(rows: Rows, inversions: np.ndarray, labels: Labels) -> pl.DataFrame:
    """Third parties of the waits that were inversions."""
    r = rows.records(a.R_THIRD)
    parts = pl.DataFrame({"wait": r[:, 0], "by": r[:, 1], "ns": r[:, 2]})
    of = pl.DataFrame({"wait": inversions[:, 10], "inversion_id": np.arange(len(inversions))})
    summed = (
        parts.join(of.filter(pl.col("wait") >= 0), on="wait")
        .group_by("inversion_id", "by")
        .agg(pl.col("ns").sum())
        .sort("inversion_id", "by")
    )
    return pl.DataFrame(
        {
            "inversion_id": summed["inversion_id"],
            "task": labels.task.series(summed["by"].to_numpy()),
            "ns": summed["ns"],
        }
    )


def _deadlocks(r: np.ndarray, labels: Labels) -> pl.DataFrame:
    r = r[np.lexsort((r[:, 1], r[:, 0]))]
    return (
        pl.DataFrame(
            {
                "number": r[:, 0],
                "at_ns": r[:, 4],
                "tasks": labels.task.series(r[:, 2]).cast(pl.String),
                "locks": labels.object.series(r[:, 3]).cast(pl.String),
            }
        )
        .group_by("number", maintain_order=True)
        .agg(pl.col("at_ns").first(), "tasks", "locks")
        .drop("number")
    )


def _isr_runs(r: np.ndarray, labels: Labels) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "isr": labels.isr.series(r[:, 0]),
            "core": labels.core(r[:, 1]),
            "start_ns": r[:, 2],
            "end_ns": r[:, 3],
            "own_ns": r[:, 4],
            "pend_ns": _optional(r[:, 5]),
            "complete": _flags(r[:, 6]),
        }
    )


def _queue_levels(r: np.ndarray, labels: Labels) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "queue": labels.object.series(r[:, 0]),
            "at_ns": r[:, 1],
            "items": _optional(r[:, 2]),
        }
    )


def _queue_items(r: np.ndarray, labels: Labels) -> pl.DataFrame:
    return pl.DataFrame(
        {"queue": labels.object.series(r[:, 0]), "send_ns": r[:, 1], "receive_ns": r[:, 2]}
    )


def _masks(r: np.ndarray, labels: Labels) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "core": labels.core(r[:, 0]),
            "what": pl.Series(np.where(r[:, 1] == 1, "sched", "irq"), dtype=pl.String),
            "who": labels.actor.series(r[:, 2]),
            "start_ns": r[:, 3],
            "end_ns": r[:, 4],
        }
    )


def _lines(log: Log, events: np.ndarray) -> dict[str, pl.Series]:
    return {
        "part": log.events["part"].gather(events),
        "line": log.events["line"].gather(events),
    }


def _places(log: Log, r: np.ndarray, labels: Labels) -> pl.DataFrame:
    return pl.DataFrame(
        {
            **_lines(log, r[:, 0]),
            "core": labels.core(r[:, 1]),
            "ran": labels.task.series(r[:, 2]),
            "acted": labels.task.series(r[:, 3]),
            "start_ns": r[:, 4],
            "end_ns": r[:, 5],
        }
    )


def _reasons(log: Log, r: np.ndarray, texts: tuple[str, ...]) -> pl.DataFrame:
    reason = pl.Series(np.array(texts)[r[:, 0]] if len(r) else [], dtype=pl.String)
    return pl.DataFrame({**_lines(log, r[:, 1]), "reason": reason})


def _with_unused(log: Log, r: np.ndarray) -> pl.DataFrame:
    """The log's unused lines and those that only the reconstruction could not use."""
    if not len(r):
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
