"""The report as one JSON document, `tracelens.report/1`; `report-1.schema.json` describes it.

Times are microseconds as numbers, from the first event; names, never ids; shares from 0 to 1;
null where there is nothing or nothing is known. A list has one element a line. Tables become
JSON as whole columns, in slices, so a run with a million late jobs needs no million objects.
"""

from collections.abc import Iterator
from typing import Any, Final

import msgspec
import polars as pl

from tracelens.model.results import Analysis
from tracelens.report import selection
from tracelens.units import NS_PER_US, ns_to_us

SCHEMA: Final = "tracelens.report/1"

_SLICE: Final = 50_000
_SIX: Final = ("min", "mean", "p50", "p95", "p99", "max")


def chunks(analysis: Analysis) -> Iterator[bytes]:
    """The document in pieces, UTF-8, ending in a line feed."""
    yield b'{"schema":' + msgspec.json.encode(SCHEMA)
    yield b',\n"log":' + msgspec.json.encode(_log(analysis))
    for key, shape in _SHAPES.items():
        frame = _with_worst(analysis) if key == "chains" else getattr(analysis, key)
        yield from _rows(key, frame.select(shape))
    yield from _rows("misses", _misses(analysis))
    yield b',\n"inversions":' + _lines(_inversions(analysis))
    yield from _rows("deadlocks", analysis.timeline.deadlocks.select(_DEADLOCK))
    yield b',\n"findings":' + _lines(_findings(analysis))
    yield b"}\n"


def _rows(key: str, frame: pl.DataFrame) -> Iterator[bytes]:
    yield f',\n"{key}":['.encode()
    for start in range(0, frame.height, _SLICE):
        # A line feed inside a string is escaped, so each of these ends a row.
        rows = frame.slice(start, _SLICE).write_ndjson().rstrip("\n").replace("\n", ",\n")
        yield f"{',' if start else ''}\n{rows}".encode()
    yield b"]"


def _lines(items: list[dict[str, Any]]) -> bytes:
    return b"[" + b",".join(b"\n" + msgspec.json.encode(item) for item in items) + b"]"


def _us(column: str) -> pl.Expr:
    return pl.col(column) / NS_PER_US


def _statistics(prefix: str, *names: str) -> pl.Expr:
    """`{prefix}_{name}_ns` of each name as one object in µs, called `{prefix}_us`."""
    return pl.struct(_us(f"{prefix}_{name}_ns").alias(name) for name in names).alias(f"{prefix}_us")


_SHAPES: Final[dict[str, tuple[pl.Expr | str, ...]]] = {
    "cores": (
        pl.col("core").alias("id"),
        "name",
        "load",
        pl.concat_list("load_low", "load_high").alias("load_bounds"),
        pl.when(pl.col("peak_load").is_not_null())
        .then(
            pl.struct(
                _us("peak_window_ns").alias("window_us"),
                pl.col("peak_load").alias("load"),
                _us("peak_at_ns").alias("at_us"),
            )
        )
        .alias("peak_load"),
        *("isr", "task", "idle", "asleep", "switching", "unknown", "wakeups"),
    ),
    "tasks": (
        pl.col("task").alias("name"),
        *("priority", "idle", "load"),
        pl.struct(
            _us("execution_ns").alias("total"),
            pl.struct(
                _us(f"job_execution_{name}_ns").alias(name) for name in ("min", "mean", "max")
            ).alias("per_job"),
        ).alias("execution_us"),
        *("jobs", "jobs_open", "jobs_excluded", "jobs_aborted", "jobs_inferred", "hidden"),
        _statistics("response", *_SIX),
        _statistics("start_latency", *_SIX),
        _us("release_jitter_ns").alias("release_jitter_us"),
        _us("deadline_ns").alias("deadline_us"),
        *("deadline_misses", "longest_miss_run", "worst_10"),
        pl.struct(
            pl.col(f"stack_{name}").alias(name)
            for name in ("size_bytes", "least_free_bytes", "headroom", "still_falling")
        ).alias("stack"),
    ),
    "isrs": (
        pl.col("isr").alias("name"),
        *("count", "load"),
        pl.struct(
            _us("execution_ns").alias("total"),
            *(_us(f"run_{name}_ns").alias(name) for name in ("min", "mean", "max")),
        ).alias("execution_us"),
        _statistics("latency", *_SIX),
    ),
    "locks": (
        pl.col("lock").alias("name"),
        *("protocol", "holds"),
        _statistics("hold", "max", "mean"),
        _statistics("own", "max"),
        "contentions",
        _statistics("wait", "max", "total"),
    ),
    "queues": (
        pl.col("queue").alias("name"),
        *("depth", "most_items", "sends", "receives"),
        _us("most_at_ns").alias("most_at_us"),
        _statistics("item_wait", *_SIX),
    ),
    "chains": (
        pl.col("chain").alias("name"),
        *("path", "instances"),
        _statistics("latency", *_SIX),
        _us("deadline_ns").alias("deadline_us"),
        *("deadline_misses", "worst"),
    ),
    "power": (
        _us("known_ns").alias("known_us"),
        *("charge_uc", "average_ma", "battery_h", "wakeups", "wakeups_per_s"),
    ),
    "charges": (
        *("name", "kind"),
        _us("ns").alias("time_us"),
        *("charge_uc", "share", "jobs", "per_job_uc", "wakeups"),
    ),
}
"""Key of the document, which is also the table of the analysis → what an element is made of."""

_DEADLOCK: Final = ("tasks", "locks", _us("at_ns").alias("at_us"))


def _log(analysis: Analysis) -> dict[str, Any]:
    quality, timeline = analysis.quality, analysis.timeline
    log, system = timeline.log, timeline.system
    unused = log.unused.to_dict(as_series=False)
    mended = timeline.repairs.group_by("reason", maintain_order=True).len()
    return {
        "events": quality.events,
        "start_ticks": log.start_ticks,
        "duration_us": ns_to_us(timeline.span_ns),
        "boots": quality.boots,
        "lost_events": quality.lost_events,
        "contradictions": quality.contradictions,
        "coverage": quality.coverage,
        "unused_lines": {
            reason: {"count": count, "first_lines": first}
            for reason, count, first in zip(*unused.values(), strict=True)
        },
        "repairs": dict(zip(*mended.to_dict(as_series=False).values(), strict=True)),
        "sources": log.sources,
        "lines": quality.lines,
        "restarts_us": [ns_to_us(ns) for ns in log.restarts],
        "window_us": [ns_to_us(ns) for ns in analysis.window],
        "run": system.run,
        "notes": system.notes,
        "warnings": log.warnings,
        "unknown": [
            {"source": log.sources[part], "line": line, "text": text}
            for (part, line), text in system.unknown
        ],
        "system_differences": system.differences,
    }


def _misses(analysis: Analysis) -> pl.DataFrame:
    ledgers = analysis.ledgers.group_by("job_id", maintain_order=True).agg(
        ledger=pl.struct("entry", "by", "via", _us("ns").alias("us"))
    )
    return (
        selection.late_jobs(analysis)
        .join(ledgers, on="job_id", how="left", maintain_order="left")
        .select(
            "task",
            "job",
            *(_us(f"{name}_ns").alias(f"{name}_us") for name in ("release", "response")),
            *(_us(f"{name}_ns").alias(f"{name}_us") for name in ("deadline", "lateness")),
            (pl.col("status") == "open").alias("open"),
            "ledger",
        )
    )


def _with_worst(analysis: Analysis) -> pl.DataFrame:
    """The chains, with the slowest instance of each: where its latency went, stage by stage."""
    stages = (
        analysis.chain_ledgers.group_by(
            "chain", "instance", "position", "stage", maintain_order=True
        )
        .agg(
            us=pl.col("ns").sum() / NS_PER_US,
            ledger=pl.struct("entry", "by", "via", _us("ns").alias("us")),
        )
        .group_by("chain", "instance", maintain_order=True)
        .agg(stages=pl.struct("stage", "us", "ledger"))
    )
    worst = selection.slowest_instances(analysis).join(stages, on=["chain", "instance"], how="left")
    shown = worst.select(
        "chain",
        worst=pl.struct(
            _us("start_ns").alias("start_us"),
            _us("latency_ns").alias("latency_us"),
            pl.col("stages").fill_null(pl.lit(pl.Series([[]], dtype=stages.schema["stages"]))),
        ),
    )
    return analysis.chains.join(shown, on="chain", how="left", maintain_order="left")


def _inversions(analysis: Analysis) -> list[dict[str, Any]]:
    shares: dict[int, dict[str, float]] = {}
    third = analysis.timeline.third_parties.select("inversion_id", "task", _us("ns")).to_dict()
    for inversion, task, us in zip(*third.values(), strict=True):
        shares.setdefault(inversion, {})[task] = us
    found = analysis.timeline.inversions.select(
        *("kind", "victim", "lock", "chain"),
        _us("start_ns").alias("start_us"),
        ((pl.col("end_ns") - pl.col("start_ns")) / NS_PER_US).alias("duration_us"),
        _us("holder_ns").alias("holder_us"),
        _us("third_party_ns").alias("third_party_us"),
        pl.col("inversion_id").alias("third_parties"),
        "raised",
    )
    rows = found.to_dicts()
    return [row | {"third_parties": shares.get(row["third_parties"], {})} for row in rows]


def _findings(analysis: Analysis) -> list[dict[str, Any]]:
    return [
        {
            "severity": found.severity,
            "subject": found.subject,
            "text": found.text,
            "at_us": ns_to_us(found.at_ns),
            "kind": found.kind,
            "numbers": found.numbers,
        }
        for found in analysis.findings
    ]
