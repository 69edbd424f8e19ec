"""What drifts from run to run, and what changed from one run on.

*Drift*: the slope of Theil (1950) and Sen ("Estimates of the regression coefficient based on
Kendall's tau", JASA 63, 1968); whether there is one at all, by Mann ("Nonparametric tests against
trend", Econometrica 13, 1945) and Kendall's tau against the order of the runs.

*Change point*: Pettitt, "A non-parametric approach to the change-point problem", Applied
Statistics 28, 1979: the largest |U(t)|, where U(t) compares all runs before t with all others by
rank. His τ is the last run of the earlier level, so of several t at which |U| is largest it is the
last: a run that lies between the levels is not yet of the later one, and the run that is named is.
How large |U| gets by chance is found by putting the runs into random order, all measures together,
and by stepping down over them (`comparison.resample`).

Half of the error rate goes to each, so that a history in which nothing changes says so but for
this rate. Both take the runs as independent of each other; and one change is told, the clearest.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import polars as pl

from tracelens.comparison.judge import holm
from tracelens.comparison.resample import step_down
from tracelens.history.store import History
from tracelens.measures.contract import conform, empty
from tracelens.model.history import COURSE, TRENDS

Values = npt.NDArray[np.float64]

LEAST: Final = 8
"""With fewer runs nothing is said of a measure."""
RATE: Final = 0.05
ORDERS: Final = 1_999
_SEED: Final = 1979
_AT_ONCE: Final = 4_000_000
"""So many values of all orders together are in memory at a time."""
_ABSENT_IS_NONE: Final = ("inversion", "unbounded_inversion")
"""Measures that a run without any such thing does not have: its value is 0."""


@dataclass(frozen=True, slots=True)
class _Change:
    """Of each column: the place where the later level begins, and the adjusted p."""

    place: npt.NDArray[np.int64]
    p: Values


def trends(history: History, rate: float = RATE) -> pl.DataFrame:
    """Every measure's course over the runs: a table of `TRENDS`, in the order of its first run.

    `rate` is the chance that anything is said to change if nothing does.
    """
    keys, values = matrix(history)
    if not keys:
        return empty(TRENDS)
    enough = (~np.isnan(values)).sum(axis=0) >= LEAST
    runs = history.runs["run"].to_list()
    told: list[dict[str, object]] = [
        {"runs": int((~np.isnan(column)).sum())} for column in values.T
    ]
    if enough.any():
        chosen = values[:, enough]
        change = change_points(chosen)
        slopes, trend_p = _slopes(chosen)
        for place, k in enumerate(np.flatnonzero(enough)):
            told[k] |= _row(
                chosen[:, place],
                runs,
                (int(change.place[place]), float(change.p[place])),
                (slopes[place], float(trend_p[place])),
                rate / 2,
                less_is_worse=keys[k][0] == "stack",
            )
    frame = pl.DataFrame(
        [dict(zip(("measure", "subject", "unit"), key, strict=True)) for key in keys]
    )
    details = pl.DataFrame(told, schema=_details(), strict=False)
    return conform(pl.concat([frame, details], how="horizontal"), TRENDS)


def ranked(found: pl.DataFrame) -> pl.DataFrame:
    """A table of `TRENDS` with the surest change first, then what has none, then the unjudged."""
    surest = pl.min_horizontal("trend_p", "change_p")
    return found.sort(pl.col("shape").is_null(), surest, nulls_last=True, maintain_order=True)


def course(history: History, row: Mapping[str, Any]) -> pl.DataFrame:
    """The values behind a row of `trends(history)`, and the level it says: a table of `COURSE`."""
    keys, values = matrix(history)
    column = values[:, keys.index((row["measure"], row["subject"], row["unit"]))]
    at = np.flatnonzero(~np.isnan(column))
    there = column[at]
    level: Values | None = None
    if row["shape"] == "step":
        begins = history.runs["run"].to_list().index(row["changed_at"])
        level = np.where(at < begins, row["before"], row["after"])
    elif row["shape"] == "drift":
        level = drift_line(at, there, row["slope"])
    runs = history.runs[at.tolist()]
    return conform(
        runs.select(
            "run",
            place=pl.Series(at + 1, dtype=pl.Int64),
            at=pl.coalesce("start", "added"),
            value=pl.Series(there, dtype=pl.Float64),
            level=pl.lit(None, pl.Float64) if level is None else pl.Series(level),
        ),
        COURSE,
    )


def drift_line(at: npt.NDArray[np.int64], there: Values, slope: float) -> Values:
    """The line of that slope through the middle of the values `there` of the runs `at`."""
    return np.asarray(np.median(there - slope * at) + slope * at)


def matrix(history: History) -> tuple[list[tuple[str, str, str]], Values]:
    """(measure, subject, unit) of each column, and values as runs × columns; NaN is absent."""
    rows = history.measures.with_columns(pl.col("measure", "unit").cast(pl.String))
    named = rows.select("measure", "subject", "unit").unique(maintain_order=True)
    keys = list(zip(*named.to_dict(as_series=False).values(), strict=True))
    column = {key: place for place, key in enumerate(keys)}
    order = {run: place for place, run in enumerate(history.runs["run"])}
    values = np.full((len(order), len(keys)), np.nan)
    at = [order[run] for run in rows["run"]]
    of = [column[key] for key in zip(rows["measure"], rows["subject"], rows["unit"], strict=True)]
    values[at, of] = rows["value"].to_numpy()
    for key, place in column.items():
        if key[0] in _ABSENT_IS_NONE and ("load", key[1], "share") in column:
            ran = ~np.isnan(values[:, column["load", key[1], "share"]])
            values[ran & np.isnan(values[:, place]), place] = 0.0
    return keys, values


def change_points(values: Values) -> _Change:
    """Pettitt's change point of every column of runs × measures; NaN is absent.

    A place is the number of runs before the change, of several as likely the last. A run that lacks
    a measure leaves its sum as it is, so its order does not matter to it.
    """
    ranks = _centred_ranks(values)
    spread = np.sqrt((ranks**2).sum(axis=0))
    spread[spread == 0] = 1.0
    scaled = np.ascontiguousarray((ranks / spread).T)
    rng = np.random.default_rng(_SEED)
    actual = np.abs(np.cumsum(scaled, axis=1))
    score = [actual.max(axis=1)[None]]
    chunk = max(1, _AT_ONCE // max(1, values.size))
    for at in range(0, ORDERS, chunk):
        count = min(chunk, ORDERS - at)
        order = rng.permuted(np.tile(np.arange(len(values)), (count, 1)), axis=1)
        total = np.cumsum(scaled[:, order], axis=2)  # measures × orders × runs
        score.append(np.maximum(total.max(axis=2), -total.min(axis=2)).T)
    # Unscaled, sums of ranks are multiples of ½ and exact, so that what is equal shows.
    last_first = np.abs(np.cumsum(ranks, axis=0))[::-1]
    return _Change(len(values) - last_first.argmax(axis=0), step_down(np.concatenate(score)))


def _centred_ranks(values: Values) -> Values:
    """Mid-ranks of the values that are there, less their mean; 0 for those that are not."""
    from scipy.stats import rankdata

    ranks = rankdata(values, axis=0, nan_policy="omit")
    return np.asarray(np.nan_to_num(ranks - np.nanmean(ranks, axis=0), nan=0.0), np.float64)


def _slopes(values: Values) -> tuple[list[tuple[float, float, float]], Values]:
    """(slope a run, its interval) of each column, and the adjusted p of a trend."""
    from scipy.stats import kendalltau, theilslopes

    slopes, p = [], []
    for column in values.T:
        at = np.flatnonzero(~np.isnan(column))
        there = column[at]
        if np.ptp(there) == 0:
            slopes.append((0.0, 0.0, 0.0))
            p.append(1.0)
            continue
        line = theilslopes(there, at)
        slopes.append((float(line.slope), float(line.low_slope), float(line.high_slope)))
        p.append(float(kendalltau(at, there).pvalue))
    return slopes, holm(np.array(p))


def _row(
    column: Values,
    runs: Sequence[str],
    change: tuple[int, float],
    drift: tuple[tuple[float, float, float], float],
    rate: float,
    *,
    less_is_worse: bool,
) -> dict[str, object]:
    place, change_p = change
    (slope, low, high), trend_p = drift
    at = np.flatnonzero(~np.isnan(column))
    there = column[at]
    # A run that lacks the measure begins no level.
    cut = min(max(int(np.searchsorted(at, place)), 1), len(at) - 1)
    before, after = there[:cut], there[cut:]
    levels = float(np.median(before)), float(np.median(after))
    shape = None
    if change_p <= rate or trend_p <= rate:
        step = np.abs(before - levels[0]).sum() + np.abs(after - levels[1]).sum()
        line = np.abs(there - drift_line(at, there, slope)).sum()
        steps = change_p <= rate and (step <= line or trend_p > rate)
        shape = "step" if steps else "drift"
    more = levels[1] > levels[0] if shape == "step" else slope > 0
    return {
        "slope": slope,
        "slope_low": low,
        "slope_high": high,
        "trend_p": trend_p,
        "changed_at": runs[at[cut]],
        "before": levels[0],
        "after": levels[1],
        "change_p": change_p,
        "shape": shape,
        "worse": None if shape is None else more != less_is_worse,
    }


def _details() -> dict[str, pl.DataType | type[pl.DataType]]:
    of_measure = ("measure", "subject", "unit")
    return {name: dtype for name, dtype in TRENDS.schema().items() if name not in of_measure}
