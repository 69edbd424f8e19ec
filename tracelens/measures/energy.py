"""What a run costs in charge: by who had the core, by job, and by who woke it.

A core draws a current that depends on what it does: it works (a handler, a task, the kernel's own
switching), idles, or sleeps in a mode. Charge is current × time, and a wake-up adds its own.
1 mA for 1 s is 1 mC = 1000 µC.
"""

from typing import Final

import polars as pl

from tracelens.measures.contract import conform, empty
from tracelens.model.measured import CHARGES, POWER
from tracelens.model.results import Timeline
from tracelens.model.system import Power
from tracelens.units import NS_PER_S

UC_PER_MA_NS: Final = 1e-6  # 1 mA × 1 ns = 1e-12 C
SECONDS_PER_HOUR: Final = 3600


def charges(run: Timeline, asleep: pl.DataFrame) -> pl.DataFrame:
    """Charge by who had a core: a table of `CHARGES`, the costliest first.

    `run` is cut to the windows that are measured; `asleep` is its table `SLEEP`. Empty where no
    currents are declared. Unknown time is left out.
    """
    power = run.system.power
    if power is None:
        return empty(CHARGES)
    spent = _spent(run, power)
    woken = _woken(asleep)
    jobs = (
        run.jobs.filter(pl.col("status") == "complete")
        .group_by(name=pl.col("task").cast(pl.String))
        .agg(jobs=pl.len().cast(pl.Int64))
    )
    wakeups = int(asleep["wakeups"].sum())
    waking = pl.DataFrame(
        {
            "name": ["wake-ups"],
            "kind": ["wake-ups"],
            "ns": [0],
            "charge_uc": [wakeups * power.wake_uc],
        },
        schema_overrides={"ns": pl.Int64, "charge_uc": pl.Float64},
    )
    listed = pl.concat([spent, waking]) if power.wake_uc and wakeups else spent
    total = float(listed["charge_uc"].sum())
    return conform(
        listed.join(woken, "name", "left")
        .join(jobs, "name", "left")
        .with_columns(
            share=pl.col("charge_uc") / total if total else pl.lit(0.0),
            per_job_uc=pl.when(pl.col("kind") == "task").then(pl.col("charge_uc") / pl.col("jobs")),
            wakeups=pl.when(pl.col("kind").is_in(["task", "handler"])).then(
                pl.col("wakeups").fill_null(0)
            ),
        )
        .sort("charge_uc", "name", descending=[True, False]),
        CHARGES,
    )


def power(run: Timeline, charged: pl.DataFrame, asleep: pl.DataFrame) -> pl.DataFrame:
    """Average current and battery life: a table of `POWER`, of one row, or none without currents.

    The current is the charge of all cores over the known time of one: unknown time draws what the
    known time does.
    """
    declared = run.system.power
    known = _known_ns(run) if declared else 0
    if declared is None or not known:
        return empty(POWER)
    charge_uc = float(charged["charge_uc"].sum())
    average_ma = charge_uc / UC_PER_MA_NS / known
    life = declared.battery_mah / average_ma if declared.battery_mah and average_ma else None
    return conform(
        pl.DataFrame(
            {
                "known_ns": [known],
                "charge_uc": [charge_uc],
                "average_ma": [average_ma],
                "battery_h": [life],
                "wakeups": [int(asleep["wakeups"].sum())],
                "wakeups_per_s": [float(asleep["wakeups"].sum()) * NS_PER_S / known],
            },
            schema_overrides={"battery_h": pl.Float64},
        ),
        POWER,
    )


def _known_ns(run: Timeline) -> int:
    """Known time of all cores / their number, so that currents of several cores add up."""
    known = run.occupancy.filter(pl.col("occupant") != "unknown")
    cores = run.occupancy["core"].n_unique()
    return int((known["end_ns"] - known["start_ns"]).sum()) // cores if cores else 0


def _spent(run: Timeline, power: Power) -> pl.DataFrame:
    """Time and charge by name. Columns name, kind, ns, charge_uc."""
    occupant = pl.col("occupant").cast(pl.String)
    asleep = occupant == "asleep"
    kind = (
        pl.when(occupant == "isr").then(pl.lit("handler")).when(asleep).then(pl.lit("sleep"))
    ).otherwise(occupant)
    rows = _with_modes(run).with_columns(kind=kind)
    named = rows.with_columns(
        name=pl.when(pl.col("kind").is_in(["task", "handler"]))
        .then(pl.col("who").cast(pl.String))
        .when(pl.col("kind") == "sleep")
        .then(pl.format("sleep {}", pl.col("mode").fill_null("")).str.strip_chars())
        .otherwise("kind"),
        ma=pl.when(asleep)
        .then(
            pl.col("mode").replace_strict(
                power.modes, default=power.sleep_ma, return_dtype=pl.Float64
            )
        )
        .when(occupant == "idle")
        .then(power.idle_ma)
        .otherwise(power.active_ma),
        ns=pl.col("end_ns") - pl.col("start_ns"),
    )
    return (
        named.filter(pl.col("kind") != "unknown")
        .group_by("name", "kind", "ma")
        .agg(pl.col("ns").sum())
        .sort("name", "kind", "ma")
        # Sums of integers first: a sum of fractions depends on the order of its terms.
        .group_by("name", "kind", maintain_order=True)
        .agg(pl.col("ns").sum(), charge_uc=(pl.col("ns") * pl.col("ma")).sum() * UC_PER_MA_NS)
    )


def _with_modes(run: Timeline) -> pl.DataFrame:
    """The occupancy, and of time asleep the mode: the subject of the `sleep` event before."""
    events = (
        run.log.events.lazy()
        .filter(pl.col("event") == "sleep")
        .select("core", "time_ns", mode=pl.col("subject").cast(pl.String))
        .collect()
    )
    rows = run.occupancy.sort("core", "start_ns")
    if events.is_empty():
        return rows.with_columns(mode=pl.lit(None, pl.String))
    numbers = pl.col("mode").str.contains(r"^\d+$")
    return rows.sort("start_ns").join_asof(
        events.with_columns(mode=pl.when(~numbers).then("mode")).sort("time_ns"),
        left_on="start_ns",
        right_on="time_ns",
        by="core",
        check_sortedness=False,
    )


def _woken(asleep: pl.DataFrame) -> pl.DataFrame:
    """How many wake-ups each name caused, of a table of `SLEEP`. Columns name, wakeups."""
    return (
        asleep.select(name="woken_by", wakeups="woken_count")
        .explode("name", "wakeups")
        .drop_nulls()
        .group_by("name")
        .agg(pl.col("wakeups").sum())
    )
