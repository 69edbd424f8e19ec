"""What a history keeps of one run: one value a measure and subject."""

from datetime import UTC, datetime
from typing import Final

import numpy as np
import polars as pl

from tracelens.comparison.observed import Observed, observe
from tracelens.measures.contract import conform
from tracelens.model.history import HISTORY, MEASURES
from tracelens.model.results import Analysis

_UNITS: Final = {
    **dict.fromkeys(MEASURES, "ns"),
    **dict.fromkeys(("misses", "load", "peak_load", "inversion", "unbounded_inversion"), "share"),
    "most_items": "items",
    "stack": "bytes",
}
_Values = dict[tuple[str, str], float]


def summarise(analysis: Analysis, run: str, source: str, added: datetime) -> pl.DataFrame:
    """One run's rows of `HISTORY`. `run` is its address, `source` the name to show for it."""
    seen = observe(analysis, source)
    values = {**_of_jobs(seen), **_of_series(seen), **seen.single, **_of_tables(analysis)}
    keys = [{"key": key, "value": value} for key, value in seen.setup.keys.items()]
    rows = pl.DataFrame(
        {
            "measure": [measure for measure, _ in values],
            "subject": [subject for _, subject in values],
            "unit": [_UNITS[measure] for measure, _ in values],
            "value": list(values.values()),
        },
        schema={"measure": pl.String, "subject": pl.String, "unit": pl.String, "value": pl.Float64},
    )
    types = HISTORY.schema()
    return conform(
        rows.with_columns(
            run=pl.lit(run),
            start=pl.lit(_start(seen.setup.keys), types["start"]),
            added=pl.lit(added.astimezone(UTC), types["added"]),
            source=pl.lit(source),
            keys=pl.Series("keys", [keys] * rows.height, types["keys"]),
            span_ns=pl.lit(seen.setup.span_ns),
            events=pl.lit(analysis.quality.events),
            coverage=pl.lit(seen.setup.coverage),
        ),
        HISTORY,
    )


def _of_jobs(seen: Observed) -> _Values:
    values: _Values = {}
    for task, times in seen.execution.items():
        values["execution", task] = float(times.mean())
        values["longest_execution", task] = float(times.max())
    for task, times in seen.response.items():
        values["response", task] = float(times.mean())
        # Nearest rank, as `measures.contract.nearest_rank`.
        values["response_p95", task] = float(np.quantile(times, 0.95, method="inverted_cdf"))
    return values


def _of_series(seen: Observed) -> _Values:
    values: _Values = {}
    for (measure, subject), series in seen.series.items():
        if len(series):
            values[measure, subject] = float(series.mean())
            if measure == "section":
                values["longest_section", subject] = float(series.max())
    return values


def _of_tables(analysis: Analysis) -> _Values:
    cores, queues = analysis.cores, analysis.queues
    peaks = zip(cores["core"], cores["peak_load"], strict=True)
    items = zip(queues["queue"], queues["most_items"], strict=True)
    return {
        **{("peak_load", f"core {core}"): peak for core, peak in peaks if peak is not None},
        **{("most_items", queue): float(most) for queue, most in items if most is not None},
    }


def _start(keys: dict[str, str]) -> datetime | None:
    """`start=` of `#run`; without a zone it is taken as UTC."""
    try:
        told = datetime.fromisoformat(keys["start"])
    except (KeyError, ValueError):
        return None
    return told.replace(tzinfo=told.tzinfo or UTC).astimezone(UTC)
