"""Does an event say what its word needs: a subject, a lock, a number? Whole columns at a time."""

from typing import Final

import numpy as np
import polars as pl

from tracelens.log import unused
from tracelens.log.unused import Reason, Unused
from tracelens.model.events import EVENT_WORDS

NO_SUBJECT_NEEDED: Final = ("sleep", "wake", "lost")
FIXED_WORDS: Final = ("-", "delay", "irq", "sched", "begin", "end")

_SUBJECT: Final = pl.col("subject")
_VALUE: Final = pl.col("value").cast(pl.String)
_INTEGER: Final = _VALUE.cast(pl.Int64, strict=False)
_NO_COUNT: Final = ~_VALUE.str.contains("^[0-9]+$").fill_null(False) | _INTEGER.is_null()

RULES: Final[tuple[tuple[Reason, tuple[str, ...], pl.Expr], ...]] = (
    (
        unused.NO_SUBJECT,
        tuple(word for word in EVENT_WORDS if word not in NO_SUBJECT_NEEDED),
        _SUBJECT.is_null(),
    ),
    (unused.NO_LOCK, ("request", "lock", "unlock"), _VALUE.is_null()),
    (unused.NO_QUEUE, ("send", "receive"), _VALUE.is_null()),
    (unused.BAD_PRIORITY, ("priority",), _INTEGER.is_null()),
    (unused.BAD_STACK, ("stack",), _NO_COUNT),
    (unused.BAD_COUNT, ("lost",), _NO_COUNT),
    (unused.BAD_MASK, ("mask", "unmask"), ~_VALUE.is_in(["irq", "sched"]).fill_null(False)),
    (unused.BAD_SLEEP, ("wake",), _NO_COUNT & _VALUE.is_not_null()),
)
"""Reason, the words that it concerns, and when an event of theirs cannot be used."""

_SUSPECT: Final = (
    (_SUBJECT.is_null() & pl.col("event").is_in(RULES[0][1]))
    | (pl.col("value").is_null() & pl.col("event").is_in([*RULES[1][1], *RULES[2][1]]))
    | pl.col("event").is_in([word for _, words, _ in RULES[3:] for word in words])
)
"""Events that may break a rule, told without looking at any text."""


def drop_meaningless(events: pl.DataFrame, part: int, losses: Unused) -> pl.DataFrame:
    """The events that say enough; the others are added to `losses`, by the first rule broken."""
    rows = events.select(_SUSPECT).to_series().arg_true()
    if rows.is_empty():
        return events
    breach = _breach(events[rows])
    bad = breach.is_not_null()
    if not bad.any():
        return events
    lines = events["line"].gather(rows)
    for reason, *_ in RULES:
        losses.add(reason, part, lines.filter((breach == reason.text).fill_null(False)).to_numpy())
    keep = np.ones(len(events), np.bool_)
    keep[rows.filter(bad).to_numpy()] = False
    return events.filter(pl.Series(keep))


def first_breach(events: pl.DataFrame) -> tuple[int, Reason] | None:
    """The first event that cannot be used, its row and why."""
    rows = events.select(_SUSPECT).to_series().arg_true()
    breach = _breach(events[rows])
    bad = breach.is_not_null().arg_true()
    if bad.is_empty():
        return None
    why = breach[bad[0]]
    return int(rows[bad[0]]), next(reason for reason, *_ in RULES if reason.text == why)


def _breach(events: pl.DataFrame) -> pl.Series:
    """The reason why each event cannot be used; null where it can."""
    broken = [
        pl.when(pl.col("event").is_in(words) & breach).then(pl.lit(reason.text))
        for reason, words, breach in RULES
    ]
    return events.select(pl.coalesce(broken).alias("reason")).to_series()


def is_torn(events: pl.DataFrame, line: bytes, known: set[str], others: list[pl.DataFrame]) -> bool:
    """Whether the last event may have been cut short: its line, `line`, has no end.

    Its last word is whole if a comma follows, or if the log has that word elsewhere: `others`
    are the events of its other parts.
    """
    if line.endswith(b"\r"):  # half of a line end
        return False
    last = events.tail(1)
    fields = line.decode().split(",")
    if len(fields) == 3 or _breach(last)[0] is not None:
        return True
    word = fields[-1]
    if not word or word in known or word in FIXED_WORDS:
        return False
    return not any(
        (rest[column] == word).any()
        for rest in (events.head(-1), *others)
        for column in ("subject", "value")
    )
