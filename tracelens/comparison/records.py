"""What a comparison comes to: how the sides were set up, what moved, and how that was judged."""

from dataclasses import dataclass

import polars as pl

from tracelens.comparison.judge import Case
from tracelens.comparison.observed import Setup


@dataclass(frozen=True, slots=True)
class Difference:
    """One respect in which the runs are not alike. `severity` is 'warning' or 'note'.

    `kind` is one of 'clock', 'cores', 'policy', 'priorities', 'periods', 'deadlines', 'length',
    'coverage', 'restarts', 'builds', 'boards', 'copies'.
    """

    severity: str
    kind: str
    text: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two groups of runs held against each other.

    `comparisons`, `presence` and `distributions` have the columns of `model.compared`. `rate` is
    the family-wise error: the chance of any false alarm. `case` says how it was judged
    (`comparison.judge`), `ways` in how many ways the runs were shared out, 0 if they were not;
    `boards` whether runs were compared within their boards.
    """

    old: tuple[Setup, ...]
    new: tuple[Setup, ...]
    differences: tuple[Difference, ...]
    rate: float
    case: Case
    ways: int
    boards: bool
    comparisons: pl.DataFrame
    presence: pl.DataFrame
    distributions: pl.DataFrame

    @property
    def moved(self) -> pl.DataFrame:
        """The comparisons that are beyond noise; the surest first, then the largest."""
        return self.comparisons.filter(pl.col("moved")).sort(
            "p",
            (pl.col("change") / pl.col("detectable")).abs(),
            descending=[False, True],
            maintain_order=True,
        )

    @property
    def judged(self) -> int:
        """How many comparisons the error was counted over."""
        return self.comparisons["moved"].count()

    @property
    def came(self) -> list[str]:
        """Tasks and handlers that ran in all new runs and in no old one."""
        return self._only("new", "old", len(self.new))

    @property
    def went(self) -> list[str]:
        """Tasks and handlers that ran in all old runs and in no new one."""
        return self._only("old", "new", len(self.old))

    @property
    def sometimes(self) -> pl.DataFrame:
        """Those that ran in some runs of a side only: columns of `PRESENCE`."""
        return self.presence.filter(
            pl.col("old_runs").is_between(1, len(self.old) - 1)
            | pl.col("new_runs").is_between(1, len(self.new) - 1)
        )

    def _only(self, here: str, there: str, runs: int) -> list[str]:
        found = (pl.col(f"{here}_runs") == runs) & (pl.col(f"{there}_runs") == 0)
        return self.presence.filter(found)["subject"].to_list()
