"""Which jobs a change moves."""

import polars as pl

from tracelens.replay.matching import matched
from tracelens.replay.run import Prediction


def moved(told: Prediction) -> pl.DataFrame:
    """The complete jobs of the record whose response a prediction changes, the most moved first.

    Columns: task, job; of the record job_id, release_ns and response_ns, and of the prediction the
    same with `_after` (null where it has no such job); by_ns, how much longer the response is. As
    in `Prediction.tasks` a change counts from the unchanged replay to the changed one, and only if
    it is larger than one switch, so that an error of the replay itself does not count.
    """
    base = matched(told.recorded, told.unchanged).select("job_id", base_ns="response_ns_after")
    by = pl.col("response_ns_after") - pl.col("base_ns")
    gone = pl.col("response_ns_after").is_null() & pl.col("base_ns").is_not_null()
    return (
        matched(told.recorded, told.predicted)
        .join(base, "job_id")
        .with_columns(by_ns=by)
        .filter((pl.col("by_ns").abs() > told.fidelity.tolerance_ns).fill_null(False) | gone)
        .sort(pl.col("by_ns").abs(), "job_id", descending=[True, False], nulls_last=True)
        .drop("base_ns", "late", "late_after")
    )
