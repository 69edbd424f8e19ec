"""What the probe records: its event codes in the words of the event log.

A record has the number of an object as its subject. In the log that object's id is `o` and the
number, whatever it is, so that events can be written before its declaration has arrived.
"""

import re
from typing import Any, Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from tracelens.model.events import EVENT_WORDS, HEADER, NO_TASK

CODES: Final = ("", *EVENT_WORDS[: EVENT_WORDS.index("lost")], *(
    "mark begin", "mark end", "mark point", "lost",
))  # fmt: skip
"""Event code of the probe (`enum tl_event`) → word of the log; the marks have three more codes."""

COUNT: Final = 30
TEXT: Final = 31
LOST: Final = CODES.index("lost")

NO_TEXT: Final = re.compile(r'["\x00-\x1f\x7f]')
"""What no name in a declaration can hold: it would end the name, or the line."""

_DELAY: Final = 0xFFFF
_OBJECTS: Final = ("wait", "release", "request", "lock", "unlock", "send", "receive")
_SIGNED: Final = ("priority", "mark")

RECORDS: Final = pl.Schema(
    {
        "time": pl.UInt32,  # counter ticks
        "core": pl.UInt8,
        "code": pl.UInt8,
        "subject": pl.UInt16,
        "value": pl.UInt32,  # null where the record has none
    }
)
"""Records of the probe, in the order in which they were taken."""


def records(
    time: NDArray[Any],
    core: NDArray[Any],
    code: NDArray[Any],
    subject: NDArray[Any],
    value: NDArray[Any],
    valued: NDArray[np.bool_],
) -> pl.DataFrame:
    """A table of records (`RECORDS`) from columns of equal length."""
    return pl.DataFrame(
        {"time": time, "core": core, "code": code, "subject": subject, "value": value},
        schema=RECORDS,
    ).with_columns(value=pl.when(pl.Series(valued)).then("value"))


def lines(taken: pl.DataFrame, phases: dict[int, str]) -> bytes:
    """Records (`RECORDS`) as lines of an event log.

    `phases`: object number → the word that stands for it in marks. Codes that the probe does not
    have must have been left out.
    """
    if taken.is_empty():
        return b""
    word = pl.Series(CODES)
    number = pl.col("value").cast(pl.String)
    event = pl.col("event")
    object_id = (
        pl.when(pl.col("value") == 0)
        .then(pl.lit(""))
        .when(pl.col("value") == _DELAY)
        .then(pl.lit("delay"))
        .otherwise(pl.lit("o") + number)
    )
    masked = pl.when(pl.col("value") == 2).then(pl.lit("sched")).otherwise(pl.lit("irq"))
    # Two's complement: what the target stored as a signed number comes back as one.
    signed = pl.col("value").cast(pl.Int64)
    signed = pl.when(signed >= 1 << 31).then(signed - (1 << 32)).otherwise(signed)
    whole = taken.with_columns(event=word.gather(taken["code"].cast(pl.UInt32)))
    marked = pl.col("event").str.starts_with("mark")
    return (
        whole.select(
            "time",
            "core",
            pl.when(marked).then(pl.lit("mark")).otherwise(event).alias("event"),
            pl.when(event == "lost")
            .then(pl.lit(""))
            .when(event.is_in(["sleep", "wake"]))
            .then(pl.col("core").cast(pl.String))
            .when(marked & (pl.col("subject") == 0))
            .then(pl.lit("heartbeat"))
            .when(pl.col("subject") == 0)
            .then(pl.lit(NO_TASK))
            .when(marked & pl.col("subject").is_in(list(phases)))
            .then(
                pl.col("subject").replace_strict(phases, default=None, return_dtype=pl.String)
                if phases
                else pl.lit(None, pl.String)
            )
            .otherwise(pl.lit("o") + pl.col("subject").cast(pl.String))
            .alias("subject"),
            pl.when(event == "mark begin")
            .then(pl.lit("begin"))
            .when(event == "mark end")
            .then(pl.lit("end"))
            .when(pl.col("value").is_null())
            .then(pl.lit(""))
            .when(event.is_in(_OBJECTS))
            .then(object_id)
            .when(event.is_in(["mask", "unmask"]))
            .then(masked)
            .when(event.is_in(_SIGNED))
            .then(signed.cast(pl.String))
            .otherwise(number)
            .alias("value"),
        )
        .write_csv(include_header=False, quote_style="never")
        .encode()
    )


def heading() -> bytes:
    """The line that names the columns of an event log."""
    return f"{HEADER}\n".encode()
