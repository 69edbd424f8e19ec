"""Any text log of a line an event, by a mapping, to the lines of an event log.

Whole columns of lines are matched at once, rule after rule; nothing is looked at line by line.
"""

import re
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import Final

import polars as pl

from tracelens.convert.mapping_toml import LineTable, Mapping
from tracelens.errors import InputError
from tracelens.log.render import VERSION_LINE
from tracelens.model.events import HEADER
from tracelens.units import NS_IN, NS_PER_S

_FIELD: Final = re.compile(r"\{(\w+)\}")
_NUMBER: Final = "#"
_LINE: Final = "#line"
"""Columns beside those of the groups, whose names are words: these are none."""
_PIECE: Final = 1 << 18
"""Lines that one thread takes at once."""

_DIGITS: Final = {"s": 9, "ms": 6, "us": 3, "ns": 0}
_MOST_NS: Final = 9.2e18
"""A little less than 63 bits can count."""

MATCHES: Final = pl.Schema({"rule": pl.UInt32, "lines": pl.UInt32, "first": pl.UInt32})


@dataclass(frozen=True, slots=True)
class Converted:
    """A log made from text.

    `text`: its bytes. `events`: how many. `taken`: lines by rule (`MATCHES`: number of the rule
    from 0, how many lines, number of the first). `skipped`: lines that say nothing. `unmatched`:
    how many lines no rule takes, and the first of them as (number, line).
    """

    text: bytes
    events: int
    taken: pl.DataFrame
    skipped: int
    unmatched: int
    first_unmatched: tuple[tuple[int, str], ...]


def convert(data: bytes, mapping: Mapping, name: str) -> Converted:
    """Convert all lines. Raises `InputError` if a time is none, or no line is an event."""
    if not mapping.lines:
        raise InputError(
            f"no rule for lines: found no [[line]] in {mapping.place}, expected one at least",
            place=name,
        )
    lines = _lines(data)
    skip = mapping.source.skip
    said = lines.filter(pl.col(_LINE) != "")
    if skip is not None:
        said = said.filter(~pl.col(_LINE).str.contains(skip))
    skipped = lines.height - said.height
    pieces = [said.slice(at, _PIECE) for at in range(0, said.height, _PIECE)]
    with ThreadPoolExecutor() as pool:
        firsts = [
            _firsts(rule, pool.map(partial(_fitting, rule), pieces)) if rule.first_per else None
            for rule in mapping.lines
        ]
        results = list(pool.map(partial(_match, mapping.lines, firsts), pieces))
    hits = [hit for found, _ in results for hit in found]
    left = pl.concat([rest for _, rest in results]) if results else said
    events, declared = [], list(mapping.log.declare)
    for rule, rows in hits:
        events += _events(mapping.lines[rule], rows)
        declared += _declarations(mapping.lines[rule], rows)
    taken = _taken(hits)
    if not events:
        raise InputError(
            f"no line is an event: found {said.height} lines, {left.height} of them matched by no "
            f"rule of {mapping.place}",
            place=name,
            hint="tracelens convert --try shows the first lines and what matched",
        )
    table = pl.concat(events).sort(_NUMBER, "order").with_columns(_time(mapping, name, events))
    body = table.select("time", "core", "event", "subject", "value").write_csv(
        include_header=False, quote_style="never"
    )
    if mapping.source.time != "ticks":
        declared.insert(0, f"clock hz={NS_PER_S} bits=64")
    head = "".join(f"#{line}\n" for line in dict.fromkeys(declared))
    return Converted(
        text=f"{VERSION_LINE}\n{head}{HEADER}\n{body}".encode(),
        events=table.height,
        taken=taken,
        skipped=skipped,
        unmatched=left.height,
        first_unmatched=tuple(left.head(5).rows()),  # few rows: the first five
    )


def _lines(data: bytes) -> pl.DataFrame:
    """Each line, without its end, and its number from 1."""
    text = data.decode("utf-8", "replace").removesuffix("\n")
    if not text.strip():
        return pl.DataFrame(schema={_NUMBER: pl.UInt32, _LINE: pl.String})
    # A line that is empty would be left out: a blank keeps the numbers right.
    column = pl.Series(_LINE, [text]).str.replace_all("\r\n", "\n", literal=True)
    lines = column.str.split("\n").explode().str.strip_chars_end()
    return pl.DataFrame({_LINE: lines}).with_row_index(_NUMBER, offset=1)


Hit = tuple[int, pl.DataFrame]
"""Number of a rule, and the lines that it took: number, line, and a column a group."""


def _fitting(rule: LineTable, lines: pl.DataFrame) -> pl.DataFrame:
    """The lines that a rule's pattern fits: number, line, and a column a group."""
    rows = lines.filter(pl.col(_LINE).str.contains(rule.pattern))
    groups = rows.select(pl.col(_LINE).str.extract_groups(rule.pattern)).to_series()
    return rows.hstack(groups.struct.unnest()) if groups.struct.fields else rows


def _firsts(rule: LineTable, fitting: Iterable[pl.DataFrame]) -> pl.Series:
    """Numbers of the first line of each value of the rule's group `first_per`."""
    rows = pl.concat(fitting)
    return rows.filter(rows[rule.first_per or ""].is_first_distinct())[_NUMBER]


def _match(
    rules: Sequence[LineTable], firsts: Sequence[pl.Series | None], lines: pl.DataFrame
) -> tuple[list[Hit], pl.DataFrame]:
    """What each rule takes of the lines, and what none does."""
    hits: list[Hit] = []
    left = lines
    for number, (rule, first) in enumerate(zip(rules, firsts, strict=True)):
        if first is None:
            fits = left[_LINE].str.contains(rule.pattern)
        else:
            fits = left[_NUMBER].is_in(first.implode())
        if fits.any():
            hits.append((number, _fitting(rule, left.filter(fits))))
            left = left.filter(~fits)
    return hits, left


def _taken(hits: list[Hit]) -> pl.DataFrame:
    return (
        pl.DataFrame(
            {
                "rule": [rule for rule, _ in hits],
                "lines": [rows.height for _, rows in hits],
                "first": [rows[_NUMBER].min() for _, rows in hits],
            },
            schema=MATCHES,
        )
        .group_by("rule")
        .agg(pl.col("lines").sum(), pl.col("first").min())
        .sort("rule")
    )


def _events(rule: LineTable, rows: pl.DataFrame) -> list[pl.DataFrame]:
    """A table for each event of the rule: number, order, time as text, core, event, …"""
    core = pl.col("core") if "core" in rows.columns else pl.lit("0")
    made = []
    for order, event in enumerate(rule.events):
        word, subject, value = (*event.split(), "", "")[:3]
        made.append(
            rows.select(
                _NUMBER,
                pl.lit(order, pl.UInt8).alias("order"),
                pl.col("time").alias("text"),
                core.alias("core"),
                _filled(word).alias("event"),
                _filled(subject).alias("subject"),
                _filled(value).alias("value"),
            )
        )
    return made


def _filled(template: str) -> pl.Expr:
    """A template with its fields in place."""
    parts = _FIELD.split(template)  # text, name, text, name, …, text
    made = [
        pl.col(part).fill_null("") if i % 2 else pl.lit(part)
        for i, part in enumerate(parts)
        if i % 2 or part
    ]
    return pl.concat_str(made) if made else pl.lit("")


def _declarations(rule: LineTable, rows: pl.DataFrame) -> list[str]:
    if rule.declare is None:
        return []
    made: list[str] = (
        rows.select(_filled(rule.declare)).to_series().unique(maintain_order=True).to_list()
    )
    return made


def _time(mapping: Mapping, name: str, events: list[pl.DataFrame]) -> pl.Expr:
    """The column `time` as the log writes it: ticks as they stand, or nanoseconds."""
    unit = mapping.source.time
    form = "^[0-9]+$" if unit == "ticks" else r"^[0-9]+(?:\.[0-9]+)?$"
    text = pl.concat([part.select(_NUMBER, "text") for part in events])
    fits = pl.col("text").str.contains(form)
    if unit != "ticks":
        fits &= pl.col("text").cast(pl.Float64, strict=False) < _MOST_NS / NS_IN[unit]
    wrong = text.filter(~fits.fill_null(False)).sort(_NUMBER)
    if wrong.height:
        number, found = wrong.row(0)
        what = "whole ticks" if unit == "ticks" else f"a number of {unit}, less than 292 years"
        raise InputError(
            f"no time: found {found!r}, expected {what}",
            place=f"{name}:{number}",
            hint=f"see [source] time in {mapping.place}",
        )
    if unit == "ticks":
        return pl.col("text").alias("time")
    digits = _DIGITS[unit]
    whole = pl.col("text").str.extract(r"^(\d+)").cast(pl.Int64) * NS_IN[unit]
    part = pl.col("text").str.extract(r"\.(\d+)$").fill_null("")
    fine = part.str.slice(0, digits).str.pad_end(digits, "0") if digits else pl.lit("")
    fine = pl.when(fine == "").then(0).otherwise(fine.cast(pl.Int64, strict=False))
    return (whole + fine).alias("time")
