"""Events that a replay writes again where they stood in the work: marks, stack, job boundaries."""

import polars as pl

from tracelens.engine.work import Things
from tracelens.model.events import CODE
from tracelens.replay.extract import Extracted
from tracelens.replay.records import R_TELL

_LONGEST_NUMBER = 18  # digits that fit in 64 bits with certainty


class Tellings:
    """The table of such events: `table` has (code, subject, value) as the engine writes them.

    `beside` are those in nobody's work: their row in the log, and the whole event. `floods` gives,
    for a mark that says that a queue is full, that queue: it stands where an item was lost.
    """

    def __init__(self, x: Extracted, events: pl.DataFrame, things: Things, span_ns: int) -> None:
        told = x.records.code == R_TELL
        rows = x.records.arg[told]
        streams = x.records.stream[told]
        names = {task.id: task.name for task in x.system.tasks}  # marks are words of their own
        full = {
            f"{queue.name}_full": number
            for number, queue in enumerate(x.system.queues)
            if queue.depth is not None
        }
        self.table: list[tuple[int, int, int]] = []
        self.floods: dict[int, int] = {}
        self._place: dict[int, int] = {}
        self.beside: list[tuple[int, tuple[int, int, int, int, int]]] = []
        known: dict[tuple[int, str, str | None], int] = {}
        some = events[rows].select(
            pl.col("event").to_physical(), pl.col("subject", "value").cast(pl.String)
        )
        kinds, subjects, values = (some[column].to_list() for column in some.columns)
        times = x.events.times[rows].tolist()
        cores = x.events.cores[rows].tolist()
        for n, row in enumerate(rows.tolist()):  # one pass: marks are few beside other events
            key = (kinds[n], subjects[n] or "", values[n])
            place = known.get(key)
            if place is None:
                word = key[1] if key[0] == CODE["mark"] else names.get(key[1], key[1])
                place = known[key] = len(self.table)
                self.table.append((key[0], things.name(word), _value(key[2], things)))
                if key[0] == CODE["mark"] and word in full:
                    self.floods[place] = full[word]
            self._place[row] = place
            if streams[n] < 0 and not _engines_own(key, times[n], span_ns):
                self.beside.append((row, (times[n], cores[n], *self.table[place])))

    def place(self, row: int) -> int:
        """Where in the table the event of a row stands."""
        return self._place[row]


def _engines_own(key: tuple[int, str, str | None], at: int, span_ns: int) -> bool:
    """Whether the engine writes this mark itself, at the begin or the end of a run."""
    return key[0] == CODE["mark"] and (
        (at == 0 and key[1] == "start_of_run") or (at == span_ns and key[1] == "end_of_run")
    )


def _value(text: str | None, things: Things) -> int:
    if not text:
        return -1
    if text.isdigit() and len(text) <= _LONGEST_NUMBER and str(int(text)) == text:
        return -2 - int(text)
    return things.name(text)
