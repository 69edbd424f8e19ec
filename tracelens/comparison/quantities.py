"""Every quantity that two groups of runs have in common, as one value a run and its noise."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal, TypeVar

import numpy as np
import numpy.typing as npt

from tracelens.comparison.noise import LEAST, Mean, mean_of
from tracelens.comparison.observed import WINDOWS, Key, Observed
from tracelens.model.compared import QUANTITIES
from tracelens.units import NS_PER_S

Values = npt.NDArray[np.float64]
Unit = Literal["ns", "share", "bytes"]
_Key = TypeVar("_Key")

SLOW: Final = 0.95
"""A job is slow if it takes longer than this share of all jobs of both sides."""

RUN_ONLY: Final = frozenset({"longest_response", "stack"})
"""Quantities of which a run has one value: how it varies within a run is not known."""

TOO_FEW: Final = f"fewer than {LEAST} jobs in a run"
NOT_ALL: Final = "not in every run"

_UNITS: Final[dict[str, Unit]] = {
    "execution": "ns",
    "section": "ns",
    "response": "ns",
    "longest_response": "ns",
    "stack": "bytes",
}
_ORDER: Final = {name: place for place, name in enumerate(QUANTITIES)}


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity in every run, the old runs first.

    `value` is each run's, `variance` that of its mean by what happens within the run, with its
    degrees of `freedom`; NaN where it is not known. `unjudged` says why it cannot be judged.
    """

    name: str
    subject: str
    value: Values
    variance: Values
    freedom: Values
    above_ns: int | None
    unjudged: str | None

    @property
    def unit(self) -> Unit:
        """The unit of `value`."""
        return _UNITS.get(self.name, "share")


def quantities(old: Sequence[Observed], new: Sequence[Observed]) -> list[Quantity]:
    """What both sides have, in the order of `QUANTITIES`, then of the subjects' appearance."""
    runs = (*old, *new)
    told = [*_of_jobs(runs), *_of_series(runs), *_of_runs(runs)]
    made = [_quantity(len(old), *one) for one in told]
    return sorted((one for one in made if one is not None), key=lambda one: _ORDER[one.name])


def tick_ns(run: Observed) -> float:
    """The resolution of the run's clock."""
    return NS_PER_S / run.setup.hz


_Told = tuple[str, str, list[Mean | None], int | None]


def _of_jobs(runs: Sequence[Observed]) -> Iterator[_Told]:
    """Means of execution and response, and the share of the jobs that are slow in each."""
    for what in ("execution", "response"):
        tables = [run.execution if what == "execution" else run.response for run in runs]
        for task in _all_keys(tables):
            times = [table.get(task) for table in tables]
            above = _slow_above([jobs for jobs in times if jobs is not None])
            pairs = list(zip(times, runs, strict=True))
            means = [j if j is None else mean_of(j, resolution=tick_ns(run)) for j, run in pairs]
            slow = [jobs if jobs is None else mean_of(jobs > above, share=True) for jobs in times]
            yield what, task, means, None
            yield f"slow_{what}", task, slow, above


def _of_series(runs: Sequence[Observed]) -> Iterator[_Told]:
    for key in _all_keys([run.series for run in runs]):
        found = [(_series(run, key), run) for run in runs]
        means = [
            values
            if values is None
            else mean_of(values, share=key[0] == "misses", resolution=_resolution(key[0], run))
            for values, run in found
        ]
        yield *key, means, None


def _series(run: Observed, key: Key) -> Values | None:
    """The run's series; of inversions that did not happen zeros, if the victim ran."""
    quantity, subject = key
    if quantity in ("inversion", "unbounded_inversion") and key not in run.series:
        return np.zeros(WINDOWS) if subject in run.ran else None
    return run.series.get(key)


def _resolution(quantity: str, run: Observed) -> float:
    """Of a time, one tick; of a share of time, one tick in a window."""
    if quantity in ("execution", "section"):
        return tick_ns(run)
    return 0.0 if quantity == "misses" else tick_ns(run) * WINDOWS / max(1, run.setup.span_ns)


def _of_runs(runs: Sequence[Observed]) -> Iterator[_Told]:
    nan = float("nan")
    for key in _all_keys([run.single for run in runs]):
        values = [run.single.get(key) for run in runs]
        yield *key, [None if value is None else Mean(value, nan, nan) for value in values], None


def _quantity(
    old: int, name: str, subject: str, means: list[Mean | None], above_ns: int | None
) -> Quantity | None:
    """None if one side does not have it at all."""
    if not any(means[:old]) or not any(means[old:]):
        return None
    nan = float("nan")
    told = [mean or Mean(nan, nan, nan) for mean in means]
    variance = np.array([mean.variance for mean in told])
    unjudged = None
    if None in means:
        unjudged = NOT_ALL
    elif name not in RUN_ONLY and np.isnan(variance).any():
        unjudged = TOO_FEW
    return Quantity(
        name=name,
        subject=subject,
        value=np.array([mean.value for mean in told]),
        variance=variance,
        freedom=np.array([mean.freedom for mean in told]),
        above_ns=above_ns,
        unjudged=unjudged,
    )


def _slow_above(times: Sequence[npt.NDArray[np.int64]]) -> int:
    """The value that 95 % of all jobs do not exceed, nearest rank."""
    together = np.concatenate(times)
    rank = max(1, int(np.ceil(SLOW * len(together)))) - 1
    return int(np.partition(together, rank)[rank])


def _all_keys(tables: Iterable[Mapping[_Key, object]]) -> list[_Key]:
    """Every key, in the order of first appearance."""
    return list(dict.fromkeys(key for table in tables for key in table))
