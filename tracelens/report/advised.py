"""A search for repairs as a document, and as JSON."""

from pathlib import PurePath
from typing import Any, Final

from tracelens import numbers
from tracelens.findings.wording import SAFETY
from tracelens.replay.advice import Advice, Tried
from tracelens.replay.run import Replayer
from tracelens.report import replayed_json, rows
from tracelens.report.blocks import Column, Document, Listing, Paragraph, Section, Table
from tracelens.report.replayed import BOARD, CANNOT, believed, payers, trust
from tracelens.units import ns_to_us

MOST_TOLD: Final = 3
"""So many repairs are told in full; the table has all."""

_COLUMNS: Final = (
    Column("repair"),
    Column("misses", "count"),
    Column("worst lateness", "time"),
    Column("worse", "count", means="how many tasks get worse"),
    Column("better", "count"),
)


def document(replayer: Replayer, advice: Advice) -> Document:
    """What was tried on a run, the best first."""
    names = [PurePath(source).name for source in replayer.recorded.log.sources]
    return Document(
        title=f"Repairs tried on {rows.names_of(names)}",
        facts=(believed(replayer.fidelity),),
        verdict=_verdict(advice),
        remarks=(),
        sections=(
            _told(advice),
            _table(advice),
            _clock(advice),
            *_power(advice),
            trust(replayer.fidelity),
            Section("What this cannot say", (Paragraph(CANNOT), Paragraph(SAFETY))),
        ),
    )


def _verdict(advice: Advice) -> str:
    before = advice.unchanged.misses
    if not advice.tried:
        return f"{_misses(before)} as recorded; no repair of those known applies to this run."
    best = advice.tried[0]
    if not before:
        return "Every deadline is met as recorded; what the repairs would move stands below."
    if best.misses >= before:
        return f"{_misses(before)} as recorded, and no repair that was tried leaves fewer."
    return f"{_misses(before)} as recorded; with {best.repair.what}: {best.misses}."


def _misses(count: int) -> str:
    return f"{count} deadline miss{'es' if count != 1 else ''}"


def _told(advice: Advice) -> Section:
    items = tuple(
        f"{one.repair.what}: {' '.join(map(str, one.repair.changes))}. "
        f"{_misses(one.misses)} left{_lateness(one)}. {payers(one.tasks)}"
        for one in advice.tried[:MOST_TOLD]
    )
    head = "Try first" if advice.unchanged.misses else "The smallest changes"
    return Section(head, (Listing(items) if items else Paragraph("Nothing."),))


def _lateness(one: Tried) -> str:
    if one.worst_lateness_ns is None:
        return ""
    if one.worst_lateness_ns > 0:
        return f", the worst {numbers.duration(one.worst_lateness_ns)} late"
    return f", {numbers.duration(-one.worst_lateness_ns)} to spare at the tightest"


def _table(advice: Advice) -> Section:
    listed = [advice.unchanged, *advice.tried]
    cells = tuple(
        (one.repair.what, one.misses, one.worst_lateness_ns, len(one.worse), len(one.better))
        for one in listed
    )
    note = (
        "Fewest misses first, then the least late; where nothing is late, the smallest change. "
        "A negative lateness is time to spare."
    )
    return Section("All that was tried", (Table(_COLUMNS, cells, note),))


def _clock(advice: Advice) -> Section:
    if advice.slowest_clock is None:
        text = "At no clock that was tried is every deadline met."
        if advice.unchanged.worst_lateness_ns is None:
            text = "No deadline is declared, so no clock is too slow."
    elif advice.clock is None or advice.slowest_clock == 1:
        text = "No slower clock that was tried meets every deadline."
    else:
        text = (
            f"Every deadline is still met at {advice.slowest_clock:g} of the present clock"
            f"{_lateness(advice.clock)}. {payers(advice.clock.tasks)}"
        )
        if advice.slowest_clock > 1:
            text = (
                f"Alone, a clock of {advice.slowest_clock:g} times the present one would meet "
                f"every deadline{_lateness(advice.clock)}."
            )
    return Section("The slowest clock", (Paragraph(text),))


def _power(advice: Advice) -> list[Section]:
    if not advice.savings:
        return []
    columns = (
        Column("change"),
        Column("average mA", "number"),
        Column("battery h", "number"),
        Column("wake-ups", "count"),
        Column("misses", "count"),
        Column("worse"),
    )
    cells = tuple(
        (
            one.repair.what,
            one.drawn.average_ma,
            one.drawn.battery_h,
            one.drawn.wakeups,
            one.misses,
            ", ".join(one.worse),
        )
        for one in advice.savings
    )
    return [Section("What would draw less", (Table(columns, cells, BOARD),))]


def encode(replayer: Replayer, advice: Advice) -> bytes:
    """One document, schema tracelens.whatif-search/1; times in µs as numbers.

    Keys: schema, fidelity (as in tracelens.whatif/1), unchanged and tried[] {what, changes[],
    misses, worst_lateness_us, worse[], better[]}, slowest_clock, clock, and savings[] {what,
    changes[], average_ma, battery_h, wakeups, misses, worse[]}, empty where no currents are
    declared.
    """
    return replayed_json.encoded(
        {
            "schema": "tracelens.whatif-search/1",
            "fidelity": replayed_json.fidelity(replayer.fidelity),
            "unchanged": _one(advice.unchanged),
            "tried": [_one(one) for one in advice.tried],
            "slowest_clock": advice.slowest_clock,
            "clock": None if advice.clock is None else _one(advice.clock),
            "savings": [
                {
                    "what": one.repair.what,
                    "changes": [str(change) for change in one.repair.changes],
                    **replayed_json.drawn(one.drawn),
                    "misses": one.misses,
                    "worse": list(one.worse),
                }
                for one in advice.savings
            ],
        }
    )


def _one(tried: Tried) -> dict[str, Any]:
    return {
        "what": tried.repair.what,
        "changes": [str(change) for change in tried.repair.changes],
        "misses": tried.misses,
        "worst_lateness_us": ns_to_us(tried.worst_lateness_ns),
        "worse": list(tried.worse),
        "better": list(tried.better),
    }
