"""A replay as a document: how far to believe it, what it predicts, and who pays."""

from pathlib import PurePath
from typing import Final

import polars as pl

from tracelens import numbers
from tracelens.findings.wording import SAFETY
from tracelens.replay.fidelity import EXACT_NS, MISSING, Fidelity, Off
from tracelens.replay.run import Prediction
from tracelens.report import rows
from tracelens.report.blocks import Block, Column, Document, Listing, Paragraph, Section

MOST_REASONS: Final = 8
LITTLE: Final = 0.9
"""Below this share of jobs the document says outright that the prediction is weak."""

_COLUMNS: Final = {
    "task": Column("task"),
    "change": Column("predicted"),
    "recorded_misses": Column("misses", "count"),
    "predicted_misses": Column("then", "count"),
    "recorded_p95_ns": Column("p95", "time", "responses"),
    "predicted_p95_ns": Column("then", "time", "responses"),
    "recorded_max_ns": Column("longest", "time", "responses"),
    "predicted_max_ns": Column("then", "time", "responses"),
    "deadline_ns": Column("deadline", "time", "responses"),
}


def document(told: Prediction) -> Document:
    """The replay of one run, with its changes or with none."""
    return Document(
        title=_title(told),
        facts=(believed(told.fidelity),),
        verdict=_verdict(told),
        remarks=(),
        sections=(
            _tasks(told),
            *_power(told),
            trust(told.fidelity),
            Section("What this cannot say", (Paragraph(CANNOT), Paragraph(SAFETY))),
        ),
    )


CANNOT: Final = (
    "A prediction is the recorded work under other rules: the same jobs with the same execution, "
    "locks and items. A task that would have decided otherwise, and a worst case that this run did "
    "not meet, are not in it."
)


def _title(told: Prediction) -> str:
    name = rows.names_of([PurePath(source).name for source in told.recorded.log.sources])
    if not told.changes:
        return f"{name} replayed unchanged"
    return f"{name} replayed with {' '.join(map(str, told.changes))}"


def believed(fidelity: Fidelity) -> str:
    """How near the unchanged replay comes, in one sentence."""
    if not fidelity.jobs:
        return "No job of the record is complete, so nothing says how far to believe this."
    near = f"to within one switch ({numbers.duration(fidelity.tolerance_ns)})"
    return (
        f"Unchanged, the replay gives {fidelity.near} of {fidelity.jobs} responses "
        f"({numbers.percent(fidelity.share)}) "
        f"{near if fidelity.tolerance_ns > EXACT_NS else 'exactly'}; the worst error is "
        f"{numbers.duration(fidelity.worst_ns)}."
    )


def _verdict(told: Prediction) -> str:
    weak = "Believe it little: " if told.fidelity.share < LITTLE else ""
    tasks = told.tasks
    if not told.changes:
        return f"{weak}{_of_misses(tasks)}."
    return f"{weak}{_of_misses(tasks)}. {payers(told.tasks)}"


def _of_misses(tasks: pl.DataFrame) -> str:
    before = int(tasks["recorded_misses"].sum())
    after = int(tasks["predicted_misses"].fill_null(0).sum())
    return f"{before} deadline miss{'es' if before != 1 else ''} recorded, {after} predicted"


def payers(tasks: pl.DataFrame) -> str:
    """Who gets worse, and by how much, of a table as `Prediction.tasks`."""
    worse = tasks.filter(pl.col("change") == "worse")
    if worse.is_empty():
        return "Nobody gets worse."
    paid = [
        f"{row['task']} ({_grew(row)})"
        for row in worse.to_dicts()  # few rows: tasks
    ]
    return f"Worse for it: {rows.names_of(paid)}."


def _grew(row: dict[str, int | None]) -> str:
    longest = f"{_time(row['recorded_max_ns'])} → {_time(row['predicted_max_ns'])}"
    before, after = row["recorded_misses"] or 0, row["predicted_misses"] or 0
    misses = f", misses {before} → {after}" if after > before else ""
    return f"longest response {longest}{misses}"


def _time(ns: int | None) -> str:
    return numbers.ABSENT if ns is None else numbers.duration(ns)


def _tasks(told: Prediction) -> Section:
    note = "'then' is the prediction for what stands before it. --json has medians, too."
    columns = _COLUMNS
    if not told.changes:
        columns = {name: column for name, column in columns.items() if name != "change"}
    listed = rows.table(told.tasks.head(rows.MOST_ROWS), columns, note)
    return Section("Task by task", (listed,))


def _power(told: Prediction) -> list[Section]:
    if told.power is None:
        return []
    before, then = told.power
    text = (
        f"On average {numbers.significant(before.average_ma)} mA as recorded, "
        f"{numbers.significant(then.average_ma)} mA predicted; wake-ups {before.wakeups} and "
        f"{then.wakeups}."
    )
    if before.battery_h is not None and then.battery_h is not None:
        text += (
            f" The battery lasts {numbers.significant(before.battery_h)} hours, then "
            f"{numbers.significant(then.battery_h)}."
        )
    return [Section("Power", (Paragraph(f"{text} {BOARD}"),))]


BOARD: Final = "The board's other parts are not in it."


def trust(fidelity: Fidelity) -> Section:
    """Which responses the unchanged replay does not give, and why."""
    blocks: list[Block] = []
    if fidelity.off:
        blocks.append(Listing(tuple(_reason(off) for off in fidelity.off[:MOST_REASONS])))
        left = len(fidelity.off) - MOST_REASONS
        if left > 0:
            jobs = sum(off.jobs for off in fidelity.off[MOST_REASONS:])
            blocks.append(Paragraph(f"{left} more reasons, {jobs} jobs; --json has all."))
    elif fidelity.jobs:
        blocks.append(Paragraph("Every response is as recorded, to within one switch."))
    blocks += [Paragraph(f"{note[0].upper()}{note[1:]}.") for note in fidelity.notes]
    return Section("How far to believe it", tuple(blocks))


def _reason(off: Off) -> str:
    jobs = f"{off.jobs} job{'s' if off.jobs != 1 else ''} of {off.task}"
    if off.entry == MISSING:
        return f"{jobs}: {MISSING} (the first: job {off.worst_job})"
    worst = off.worst_ns or 0
    by = f" by {off.by}" if off.by and off.entry != "execution" else ""
    way = "longer" if worst > 0 else "shorter"
    most = f"up to {numbers.duration(abs(worst))} {way} (job {off.worst_job})"
    return f"{jobs}: {off.entry}{by} differs; {most}"
