"""Runs and tables written by hand, as dicts of columns, and their comparison.

    run = timeline(
        span_ns=100,
        system=System(tasks=(Task("t1", "work", priority=2),)),
        events="10,0,stack,t1,400",
        occupancy={"core": [0], "start_ns": [0], "end_ns": [100], "occupant": ["idle"]},
    )

Columns that a test does not care about are left out: they are filled with null, with 0 or with
False. What is filled in is never what the test is about.
"""

from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl
import pytest

from tracelens.model.columns import Name, Table
from tracelens.model.events import EVENTS
from tracelens.model.log import UNUSED, Log
from tracelens.model.results import Timeline
from tracelens.model.system import System
from tracelens.model.tables import RECONSTRUCTED

Columns = Mapping[str, Sequence[Any]]

_FILLED = {pl.Boolean: False, pl.Int64: 0, pl.UInt8: 0, pl.UInt16: 0, pl.UInt32: 0}
_ABSENT = {"start_ns", "pend_ns", "deadline_ns", "response_ns"}  # null where a test leaves it out


def timeline(
    *,
    span_ns: int,
    system: System = System(),  # noqa: B008 - frozen
    events: str = "",
    restarts: tuple[int, ...] = (),
    unused: Columns | None = None,
    warnings: tuple[str, ...] = (),
    lost_events: int = 0,
    **tables: Columns,
) -> Timeline:
    """A run of which the given tables are known; the others are empty."""
    assert tables.keys() <= RECONSTRUCTED.keys()
    read = event_table(events)
    return Timeline(
        log=Log(
            sources=("run.csv",),
            declared=system,
            events=read,
            unused=pl.DataFrame(unused or {}, schema=UNUSED),
            lines=read.height,
            start_ticks=0,
            restarts=restarts,
            warnings=warnings,
        ),
        system=system,
        span_ns=span_ns,
        lost_events=lost_events,
        **{name: table(contract, tables.get(name, {})) for name, contract in RECONSTRUCTED.items()},
    )


def table(contract: Table, columns: Columns) -> pl.DataFrame:
    """A table in the shape of `contract`.

    Each `Name` column is an Enum of its own, over the names in it: nothing may rest on two columns
    sharing one, for the reconstruction does not promise it.
    """
    unknown = columns.keys() - contract.columns.keys()
    assert not unknown, f"no such columns: {unknown}"
    height = max((len(values) for values in columns.values()), default=0)
    made = []
    for column, dtype in contract.schema().items():
        filling = None if column in _ABSENT else _FILLED.get(dtype)
        values = columns.get(column, [filling] * height)
        if dtype is Name:
            dtype = pl.Enum(list(dict.fromkeys(v for v in values if v is not None)))
        made.append(pl.Series(column, values, dtype))
    return pl.DataFrame(made)


def event_table(lines: str) -> pl.DataFrame:
    """The event table of lines `time_ns,core,event,subject,value`; they stand from line 1 on."""
    fields = [line.strip().split(",") for line in lines.split("\n") if line.strip()]
    time, core, event, subject, value = zip(*fields, strict=True) if fields else [()] * 5
    return pl.DataFrame(
        {
            "part": [0] * len(fields),
            "line": list(range(1, len(fields) + 1)),
            "boot": [0] * len(fields),
            "time_ns": [int(text) for text in time],
            "core": [int(text) for text in core],
            "event": list(event),
            "subject": list(subject),
            "value": [text or None for text in value],
        },
        schema=EVENTS,
    )


def assert_table(frame: pl.DataFrame, contract: Table, expected: Columns) -> None:
    """The frame has exactly the contract's columns, order and dtypes, and the expected values.

    `expected` may leave columns out; floats are compared to 1 in 10⁹.
    """
    assert dict(frame.schema) == contract.schema()
    assert list(frame.columns) == list(contract.columns)
    assert_columns(frame, expected)


def assert_columns(frame: pl.DataFrame, expected: Columns) -> None:
    """The frame has the expected values, in order, in the columns that `expected` names."""
    for column, values in expected.items():
        found = frame[column].to_list()
        wanted = list(values)
        assert len(found) == len(wanted), f"{column}: {found}, expected {wanted}"
        for one, other in zip(found, wanted, strict=True):
            same = other if not isinstance(other, float) else pytest.approx(other, rel=1e-9)
            assert one == same, f"{column}: {found}, expected {wanted}"
