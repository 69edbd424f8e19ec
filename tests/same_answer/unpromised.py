"""The table library, giving no more order than it promises.

`group_by`, `join` and `unique` promise an order of rows only with `maintain_order`, and `sort` one
of equal rows (Polars' reference, the parameter of that name at each). What they give without it is
often in order on small tables, today, on this machine; here it is not.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from unittest import mock

import polars as pl
from polars.lazyframe.group_by import LazyGroupBy


@contextmanager
def unpromised(seed: int) -> Iterator[None]:
    """Within it, rows whose order is not promised come in another, the same for the same seed."""
    with (
        mock.patch.object(pl.LazyFrame, "group_by", _group_by(seed)),
        mock.patch.object(pl.LazyFrame, "join", _join(seed)),
        mock.patch.object(pl.LazyFrame, "unique", _unique(seed)),
        mock.patch.object(pl.LazyFrame, "sort", _sort(seed)),
        mock.patch.object(pl.Series, "unique", _values(pl.Series.unique, seed)),
        mock.patch.object(pl.Expr, "unique", _values(pl.Expr.unique, seed)),
    ):
        yield


def _shuffled(frame: pl.LazyFrame, seed: int) -> pl.LazyFrame:
    return frame.select(pl.all().gather(pl.int_range(pl.len()).shuffle(seed)))


def _group_by(seed: int) -> Any:
    original = pl.LazyFrame.group_by

    def group_by(frame: pl.LazyFrame, *by: Any, maintain_order: bool = False, **named: Any) -> Any:
        grouped = original(frame, *by, maintain_order=maintain_order, **named)
        return grouped if maintain_order else _Unordered(grouped, seed)

    return group_by


class _Unordered:
    def __init__(self, grouped: LazyGroupBy, seed: int) -> None:
        self.grouped, self.seed = grouped, seed

    def agg(self, *what: Any, **named: Any) -> pl.LazyFrame:
        return _shuffled(self.grouped.agg(*what, **named), self.seed)

    def having(self, *predicates: Any) -> "_Unordered":
        return _Unordered(self.grouped.having(*predicates), self.seed)

    def __getattr__(self, name: str) -> Any:
        given = getattr(self.grouped, name)
        return lambda *what, **how: _shuffled(given(*what, **how), self.seed)


def _join(seed: int) -> Any:
    original = pl.LazyFrame.join

    def join(frame: pl.LazyFrame, *what: Any, maintain_order: Any = None, **how: Any) -> Any:
        joined = original(frame, *what, maintain_order=maintain_order, **how)
        return joined if maintain_order not in (None, "none") else _shuffled(joined, seed)

    return join


def _unique(seed: int) -> Any:
    original = pl.LazyFrame.unique

    def unique(
        frame: pl.LazyFrame,
        subset: Any = None,
        *,
        keep: Any = "any",
        maintain_order: bool = False,
    ) -> Any:
        given = _shuffled(frame, seed) if keep == "any" and not maintain_order else frame
        kept = original(given, subset, keep=keep, maintain_order=maintain_order)
        return kept if maintain_order else _shuffled(kept, seed)

    return unique


def _sort(seed: int) -> Any:
    original = pl.LazyFrame.sort

    def sort(frame: pl.LazyFrame, *by: Any, maintain_order: bool = False, **how: Any) -> Any:
        given = frame if maintain_order else _shuffled(frame, seed)
        return original(given, *by, maintain_order=maintain_order, **how)

    return sort


def _values(original: Any, seed: int) -> Any:
    def unique(values: Any, *, maintain_order: bool = False) -> Any:
        kept = original(values, maintain_order=maintain_order)
        return kept if maintain_order else kept.shuffle(seed)

    return unique
