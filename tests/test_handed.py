"""An array handed to polars is the very memory that polars then shows."""

import gc

import numpy as np
import polars as pl
import pytest

from tracelens.handed import as_column, as_column_or_null

KINDS = ["uint8", "uint16", "uint32", "uint64", "int8", "int16", "int32", "int64"]


@pytest.mark.parametrize("kind", KINDS)
def test_it_is_not_copied_and_has_the_type_name_and_values_that_polars_would_give(kind):
    values = np.arange(100, dtype=kind)[3:90]
    column = as_column(values, "x")
    assert column.equals(pl.Series("x", values), check_dtypes=True, check_names=True)
    assert column.null_count() == 0
    assert column.to_numpy(allow_copy=False).ctypes.data == values.ctypes.data


def test_it_outlives_whoever_handed_it_over():
    column = as_column(np.arange(1 << 20))
    gc.collect()
    assert column.sum() == (1 << 20) * ((1 << 20) - 1) // 2


@pytest.mark.parametrize(
    "values", [np.arange(10)[::3], np.array([True, False]), np.array([0.5]), np.empty(0, np.int64)]
)
def test_what_has_gaps_or_another_type_or_nothing_is_a_column_too(values):
    assert as_column(values, "x").equals(pl.Series("x", values), check_dtypes=True)


@pytest.mark.parametrize("count", [0, 1, 7, 8, 9, 1000, (1 << 20) + 3])
@pytest.mark.parametrize("nothing", [255, 0, 77])
def test_what_stands_for_nothing_is_null(count, nothing):
    values = (np.arange(count) * 7).astype(np.uint8)
    expected = pl.Series("x", [None if value == nothing else value for value in values.tolist()])
    column = as_column_or_null(values, "x", nothing)
    assert column.equals(expected.cast(pl.UInt8), check_dtypes=True, check_names=True)
    assert column.null_count() == expected.null_count()
    assert (values[column.is_null().to_numpy()] == 0).all()
