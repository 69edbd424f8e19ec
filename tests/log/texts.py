"""Small logs as text, and the columns of what was read from them."""

from pathlib import Path

from tracelens.model.log import Log

BAD_LOGS = Path(__file__).parent.parent / "bad_logs"
RECORDINGS = Path(__file__).parent.parent / "recordings"

COLUMNS = "time,core,event,subject,value\n"
HEAD = f"#tracelens 1\n#clock hz=1000000 bits=32\n{COLUMNS}"


def log_text(*events: str, clock: str = "hz=1000000 bits=32", declared: str = "") -> bytes:
    """The bytes of a log with these lines after its head."""
    lines = "".join(f"{event}\n" for event in events)
    return f"#tracelens 1\n#clock {clock}\n{declared}{COLUMNS}{lines}".encode()


def rows(log: Log, *columns: str) -> list[tuple[object, ...]]:
    """The named columns of the events, row by row; all that a log says if none is named."""
    return log.events.select(columns or SAID).rows()


SAID = ("boot", "time_ns", "core", "event", "subject", "value")


def unused(log: Log) -> dict[str, tuple[int, list[str]]]:
    """Reason → how many lines, and which came first."""
    return {reason: (count, first) for reason, count, first in log.unused.rows()}
