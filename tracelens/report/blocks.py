"""What a document is made of, before anyone decides how it looks."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from tracelens import numbers

Kind = Literal[
    "text", "count", "bytes", "time", "exact", "moment", "share", "change", "flag", "number"
]
"""Of a column: 'time', 'exact' and 'moment' hold integer ns ('exact' is shown in µs, unrounded, and
the text above it says so), 'share' a number from 0 to 1, 'change' a
difference of such numbers or a growth (shown with its sign), 'flag' a truth value that shows only
where it is true, 'number' any number, to three digits."""

Cell = str | int | float | bool | None


@dataclass(frozen=True, slots=True)
class Column:
    """A column's head and kind. Columns of one `group` share their unit, so they compare.

    A `rare` column is left out of a table in which it would hold only zeros and blanks. `means`
    is said beneath the table, for a head that is too short to be clear.
    """

    head: str
    kind: Kind = "text"
    group: str = "time"
    rare: bool = False
    means: str = ""


@dataclass(frozen=True, slots=True)
class Shown:
    """A table ready to print: heads, their units ('' for none), and cells as text."""

    heads: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of raw values. `note` is said beneath, about what the table leaves out."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""

    def shown(self) -> Shown:
        """Every cell as text, one unit a column, the unit apart."""
        cells = list(zip(*self.rows, strict=True)) or [()] * len(self.columns)
        units = [self._unit(column, cells) for column in self.columns]
        texts = [
            [_text(cell, column.kind, unit) for cell in values]
            for column, unit, values in zip(self.columns, units, cells, strict=True)
        ]
        return Shown(
            heads=tuple(column.head for column in self.columns),
            units=tuple(units),
            rows=tuple(zip(*texts, strict=True)),
            numeric=tuple(column.kind not in ("text", "flag") for column in self.columns),
        )

    def _unit(self, column: Column, cells: Sequence[tuple[Cell, ...]]) -> str:
        if column.kind in ("share", "change", "bytes"):
            return "bytes" if column.kind == "bytes" else "%"
        if column.kind == "moment":
            return "s"
        if column.kind != "time":
            return ""
        together = (
            values
            for other, values in zip(self.columns, cells, strict=True)
            if other.kind == "time" and other.group == column.group
        )
        return numbers.time_unit(v for values in together for v in values if isinstance(v, int))


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Running text."""

    text: str


@dataclass(frozen=True, slots=True)
class Listing:
    """Short facts, each on a line of its own."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Drawing:
    """Lines that stand under each other exactly: a picture made of characters."""

    lines: tuple[str, ...]


Block = Table | Paragraph | Listing | Drawing


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and what stands under it."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Remark:
    """A finding: severity 'error', 'warning' or 'note', a sentence, and a place in time."""

    severity: str
    text: str
    at: str  # '8.123456 s', or '' where it has no place


@dataclass(frozen=True, slots=True)
class Document:
    """A report: whose it is, the verdict, what is wrong (worst first), then the particulars."""

    title: str
    facts: tuple[str, ...]
    verdict: str
    remarks: tuple[Remark, ...]
    sections: tuple[Section, ...]


def _text(cell: Cell, kind: Kind, unit: str) -> str:
    if kind == "flag":
        return "yes" if cell else ""
    if cell is None:
        return numbers.ABSENT
    if kind == "text":
        return str(cell)
    if kind == "share":
        return numbers.hundredths(float(cell))
    if kind == "change":
        return numbers.signed_hundredths(float(cell))
    if kind == "time":
        return numbers.time_in(unit, int(cell))
    if kind == "exact":
        return numbers.microseconds(int(cell))
    if kind == "moment":
        return numbers.seconds(int(cell))
    if kind == "number":
        return numbers.significant(float(cell))
    return str(cell)
