"""A comparison as one JSON document; `compare-1.schema.json` describes its keys.

Times are microseconds as numbers, shares numbers from 0 to 1; names, never ids. What statistics
give is told to nine significant digits: the rest depends on the library's release.
"""

from typing import Any, Final

import msgspec

from tracelens.comparison import wording
from tracelens.comparison.observed import Setup
from tracelens.comparison.records import Comparison
from tracelens.model.compared import QUANTITIES
from tracelens.units import NS_PER_US, ns_to_us

SCHEMA: Final = "tracelens.compare/1"

_UNITS: Final = {"ns": "us", "share": "share", "bytes": "bytes"}


def encode(found: Comparison) -> bytes:
    """The document, UTF-8, one key a line, ending in a line feed."""
    lines = [f'"{key}":'.encode() + msgspec.json.encode(value) for key, value in _keys(found)]
    return b"{" + b",\n".join(lines) + b"}\n"


def _keys(found: Comparison) -> list[tuple[str, Any]]:
    return [
        ("schema", SCHEMA),
        ("verdict", wording.verdict(found)),
        ("old", [_run(run) for run in found.old]),
        ("new", [_run(run) for run in found.new]),
        (
            "differences",
            [{"severity": d.severity, "kind": d.kind, "text": d.text} for d in found.differences],
        ),
        ("came", found.came),
        ("went", found.went),
        ("sometimes", found.sometimes.to_dicts()),
        (
            "method",
            {
                "error": "family_wise",
                "rate": found.rate,
                "case": found.case,
                "ways": found.ways,
                "within_boards": found.boards,
                "judged": found.judged,
                "text": wording.method(found),
            },
        ),
        ("quantities", QUANTITIES),
        ("moved", [_moved(row) for row in found.moved.to_dicts()]),
        ("comparisons", [_comparison(row) for row in found.comparisons.to_dicts()]),
        ("distributions", [_distribution(row) for row in found.distributions.to_dicts()]),
    ]


def _run(run: Setup) -> dict[str, Any]:
    return {
        "name": run.name,
        "run": run.keys,
        "duration_us": ns_to_us(run.span_ns),
        "coverage": run.coverage,
        "boots": run.boots,
    }


def _comparison(row: dict[str, Any]) -> dict[str, Any]:
    scale = NS_PER_US if row["unit"] == "ns" else 1
    measured = ("old", "new", "change", "change_low", "change_high", "detectable")
    told = {key: None if row[key] is None else _steady(row[key] / scale) for key in measured}
    return {
        "quantity": row["quantity"],
        "subject": row["subject"],
        "unit": _UNITS[row["unit"]],
        **told,
        "p": None if row["p"] is None else _steady(row["p"]),
        "moved": row["moved"],
        "worse": row["worse"],
        "above_us": ns_to_us(row["above_ns"]),
        "unjudged": row["unjudged"],
    }


def _steady(value: float) -> float:
    return float(f"{value:.9g}")


def _moved(row: dict[str, Any]) -> dict[str, Any]:
    return {
        "quantity": row["quantity"],
        "subject": row["subject"],
        "worse": row["worse"],
        "text": wording.moved(row),
    }


def _distribution(row: dict[str, Any]) -> dict[str, Any]:
    times = {key: value for key, value in row.items() if key.endswith("_ns")}
    rest = {key: value for key, value in row.items() if key not in times}
    return rest | {f"{key.removesuffix('_ns')}_us": ns_to_us(ns) for key, ns in times.items()}
