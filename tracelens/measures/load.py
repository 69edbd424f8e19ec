"""Who had the cores, and for how long: the load of cores, tasks and interrupt handlers."""

from typing import Final

import numpy as np
import polars as pl

from tracelens.measures.contract import conform, names_of
from tracelens.measures.declared import core_names
from tracelens.measures.peak import peak
from tracelens.model.columns import OCCUPANTS, Occupant
from tracelens.model.measured import CORE_LOAD, LOAD_WINDOWS
from tracelens.model.results import Timeline
from tracelens.spans import LENGTH, SpentTime, Windows, length
from tracelens.units import NS_PER_MS

PEAK_WINDOW_NS: Final = 100 * NS_PER_MS
"""Length of the window that the peak load is taken over, unless another is asked for."""

_BUSY: Final = ("isr", "task", "switching")


def totals(occupancy: pl.DataFrame) -> pl.DataFrame:
    """Time by core, occupant and who. Columns core, occupant, who (Enum), ns."""
    names = occupancy.schema["who"]
    nobody = len(names_of(occupancy["who"]))
    # One integer key groups five times as fast as three columns do.
    key = (
        pl.col("core").cast(pl.UInt32) * len(OCCUPANTS)
        + pl.col("occupant").to_physical().cast(pl.UInt32)
    ) * (nobody + 1) + pl.col("who").to_physical().cast(pl.UInt32).fill_null(nobody)
    summed = occupancy.lazy().group_by(key.alias("key")).agg(ns=LENGTH.sum()).collect().sort("key")
    who = summed["key"] % (nobody + 1)
    rest = summed["key"] // (nobody + 1)
    return pl.DataFrame(
        {
            "core": (rest // len(OCCUPANTS)).cast(pl.UInt8),
            "occupant": (rest % len(OCCUPANTS)).cast(pl.UInt8).cat.to(Occupant),
            "who": who.set(who == nobody, None).cat.to(names),
            "ns": summed["ns"],
        }
    )


def known_time(spent: pl.DataFrame) -> pl.DataFrame:
    """Known time by core, of a table of `totals`. Columns core, known_ns."""
    return spent.group_by("core", maintain_order=True).agg(
        known_ns=pl.col("ns").filter(pl.col("occupant") != "unknown").sum()
    )


def load_by_name(spent: pl.DataFrame) -> pl.DataFrame:
    """Occupation and load of every task and ISR. Columns name (String), occupied_ns, load.

    The load on one core is occupation / known time of that core; on several cores it is the sum
    over them, so the loads of all that ran on a core add up to the core's, switching apart.
    """
    return (
        spent.filter(pl.col("who").is_not_null())
        .join(known_time(spent), on="core")
        .group_by(pl.col("who").cast(pl.String).alias("name"))
        .agg(occupied_ns=pl.col("ns").sum(), load=(pl.col("ns") / pl.col("known_ns")).sum())
    )


def cores(
    run: Timeline,
    spent: pl.DataFrame,
    asleep: pl.DataFrame,
    windows: Windows,
    peak_window_ns: int = PEAK_WINDOW_NS,
) -> pl.DataFrame:
    """Load, bounds, peak and shares of each core: a table of `CORE_LOAD`.

    `run` is cut to `windows`, `spent` are the `totals` of its occupancy and `asleep` its table
    `SLEEP`. The peak is taken over `peak_window_ns`, or over the longest window if all are shorter.
    """
    window_ns = min(peak_window_ns, max((end - start for start, end in windows), default=0))
    names = core_names(run.system, spent["core"].unique().to_list())
    peaks = {core: _peak(rows, window_ns) for core, rows in by_core(run.occupancy).items()}
    found = [peaks.get(core) or (None, None) for core in names]
    listed = pl.DataFrame(
        {"core": list(names), "name": list(names.values())},
        schema={"core": pl.UInt8, "name": pl.String},
    ).with_columns(
        pl.lit(window_ns).alias("peak_window_ns"),
        pl.Series("peak_load", [load for load, _ in found], pl.Float64),
        pl.Series("peak_at_ns", [at for _, at in found], pl.Int64),
    )
    shares = spent.group_by("core").agg(
        pl.col("ns").filter(pl.col("occupant") == occupant).sum().alias(occupant)
        for occupant in OCCUPANTS
    )
    span_ns = pl.lit(length(windows) or None, pl.Int64)
    busy = sum((pl.col(occupant) for occupant in _BUSY), pl.lit(0))
    unused = pl.col("idle") + pl.col("asleep")
    return conform(
        listed.join(shares, on="core", how="left", maintain_order="left")
        .join(asleep.select("core", "wakeups"), on="core", how="left", maintain_order="left")
        .with_columns(pl.col(*OCCUPANTS, "wakeups").fill_null(0))
        # A core that is declared and has no event was never seen: all its time is unknown.
        .with_columns(unknown=span_ns - busy - unused)
        .with_columns(
            load=pl.when(pl.col("unknown") < span_ns).then(busy / (busy + unused)),
            load_low=busy / span_ns,
            load_high=1 - unused / span_ns,
        )
        .with_columns(pl.col(*OCCUPANTS) / span_ns),
        CORE_LOAD,
    )


def load_windows(occupancy: pl.DataFrame, windows: Windows) -> pl.DataFrame:
    """Load of every core, and of every task and ISR on it, in each window: `LOAD_WINDOWS`.

    `windows` may be any, also overlapping or empty. Rows: by core, the core as a whole first, then
    by name; then by window. What never had the core has no row.
    """
    a = pl.Series("start_ns", [start for start, _ in windows], pl.Int64)
    b = pl.Series("end_ns", [end for _, end in windows], pl.Int64)
    tables = [pl.DataFrame(schema=LOAD_WINDOWS.schema())]
    for core, on_it in by_core(occupancy).items():
        known = SpentTime.of(on_it.filter(pl.col("occupant") != "unknown")).between(a, b)
        by_name = SpentTime.of(on_it, "who")
        names = names_of(on_it["who"])
        whole = SpentTime.of(on_it.filter(pl.col("occupant").is_in(_BUSY))).between(a, b)
        parts = {names[key]: by_name.between(a, b, key) for key in by_name.keys.tolist()}
        for who, busy in [(None, whole), *sorted(parts.items())]:
            share = pl.Series(busy) / pl.Series(known)
            tables.append(
                pl.DataFrame([a, b]).select(
                    core=pl.lit(core, pl.UInt8),
                    who=pl.lit(who, pl.String),
                    start_ns="start_ns",
                    end_ns="end_ns",
                    load=share.fill_nan(None),
                )
            )
    return pl.concat(tables)


def by_core(occupancy: pl.DataFrame) -> dict[int, pl.DataFrame]:
    """The rows of each core, in order of time; cores ascending."""
    if occupancy["core"].is_sorted():  # then slices will do, without copying
        rows = _slices(occupancy)
    else:
        ids = occupancy["core"].unique().sort()
        rows = {core: occupancy.filter(pl.col("core") == core) for core in ids}
    return {
        core: on_it if on_it["start_ns"].is_sorted() else on_it.sort("start_ns")
        for core, on_it in rows.items()
    }


def _slices(occupancy: pl.DataFrame) -> dict[int, pl.DataFrame]:
    """The rows of each core, of a table that is in order of cores."""
    runs = occupancy["core"].rle().struct.unnest()
    first = runs["len"].cum_sum() - runs["len"]
    return {
        core: occupancy.slice(start, count)
        for core, start, count in zip(runs["value"], first, runs["len"], strict=True)
    }


def in_order(occupancy: pl.DataFrame) -> pl.DataFrame:
    """The rows by core, then in order of time; without copying if they stand so."""
    if occupancy["core"].is_sorted() and all(
        rows["start_ns"].is_sorted() for rows in _slices(occupancy).values()
    ):
        return occupancy
    return occupancy.sort("core", "start_ns", maintain_order=True)


def _peak(rows: pl.DataFrame, window_ns: int) -> tuple[float, int] | None:
    """Peak load of one core. Time between two windows counts as unknown."""
    starts = rows["start_ns"].to_numpy()
    ends = rows["end_ns"].to_numpy()
    occupants = rows["occupant"].to_physical().to_numpy()
    holes = np.flatnonzero(starts[1:] > ends[:-1]) + 1
    if len(holes):
        ends = np.insert(ends, holes, starts[holes])
        occupants = np.insert(occupants, holes, OCCUPANTS.index("unknown"))
    if not len(ends) or not 0 < window_ns <= ends[-1] - starts[0]:
        return None
    return peak(ends, occupants, int(starts[0]), window_ns)
