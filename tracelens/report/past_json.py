"""A history of runs as one JSON document; `history-1.schema.json` describes its keys.

Times are microseconds as numbers, moments ISO 8601 in UTC, shares numbers from 0 to 1.
"""

from typing import Any, Final

import msgspec
import polars as pl

from tracelens.history import wording
from tracelens.history.store import History
from tracelens.model.history import MEASURES
from tracelens.units import NS_PER_US, ns_to_us

SCHEMA: Final = "tracelens.history/1"
_UNITS: Final = {"ns": "us"}
_SCALED: Final = ("slope", "slope_low", "slope_high", "before", "after")


def encode(history: History, found: pl.DataFrame | None = None) -> bytes:
    """The runs with their values, and with `found`, a table of `TRENDS`, what changes."""
    keys: list[tuple[str, Any]] = [
        ("schema", SCHEMA),
        ("measures", MEASURES),
        ("unreadable", history.unreadable),
        ("runs", [_run(run) for run in history.runs.to_dicts()]),
        ("values", [_value(row) for row in _plain(history.measures).to_dicts()]),
    ]
    if found is not None:
        keys.insert(1, ("verdict", wording.verdict(found, history.runs.height)))
        keys.append(("trends", [_trend(row) for row in found.to_dicts()]))
    lines = [f'"{key}":'.encode() + msgspec.json.encode(value) for key, value in keys]
    return b"{" + b",\n".join(lines) + b"}\n"


def _plain(measures: pl.DataFrame) -> pl.DataFrame:
    return measures.select("run", "measure", "subject", "unit", "value")


def _run(run: dict[str, Any]) -> dict[str, Any]:
    return {
        "run": run["run"],
        "start": run["start"],
        "added": run["added"],
        "source": run["source"],
        "keys": {pair["key"]: pair["value"] for pair in run["keys"]},
        "duration_us": ns_to_us(run["span_ns"]),
        "events": run["events"],
        "coverage": run["coverage"],
    }


def _value(row: dict[str, Any]) -> dict[str, Any]:
    scale = NS_PER_US if row["unit"] == "ns" else 1
    return row | {"unit": _UNITS.get(row["unit"], row["unit"]), "value": row["value"] / scale}


def _trend(row: dict[str, Any]) -> dict[str, Any]:
    scale = NS_PER_US if row["unit"] == "ns" else 1
    scaled = {key: None if row[key] is None else row[key] / scale for key in _SCALED}
    return row | {"unit": _UNITS.get(row["unit"], row["unit"])} | scaled
