"""A verdict in a sentence, the same in every face.

Quantities stand in the unit of the limit's key and exactly, for a breach may be a nanosecond.
"""

from collections.abc import Sequence
from datetime import date
from pathlib import PurePath

from tracelens.formats.budgets_text import number_text
from tracelens.model.verdicts import Entry, Spot, Verdict, Verdicts
from tracelens.numbers import moment, percent, significant
from tracelens.verdicts.observation import so_many


def subject(verdict: Verdict) -> str:
    """Whom the verdict is about: 'needle_select', 'needle_select in phase knit'."""
    phase = verdict.budget.phase
    name = f"core {verdict.name}" if verdict.budget.group == "cores" else verdict.name
    return name if phase is None else f"{name} in phase {phase}"


def quantity(verdict: Verdict, value: float | None) -> str:
    """A value in the unit of the limit's key; empty for None."""
    if value is None:
        return ""
    text = number_text(verdict.budget.measure, value)
    if verdict.budget.measure.unit not in ("share", "per_s"):
        return text
    # Three digits will do, unless they hide on which side of the limit it lies, or all of it.
    short = significant(value)
    if value and not float(short):
        return f"{value:.1g}"
    return text if float(short) == verdict.budget.limit else short


def limit(verdict: Verdict) -> str:
    """The limit: '1800', or '1 of any 10'."""
    of = verdict.budget.of
    text = number_text(verdict.budget.measure, verdict.budget.limit)
    return text if of is None else f"{text} of any {of}"


def sentence(verdict: Verdict, today: date, *, ledger: bool = True) -> str:
    """All that is to be said about a verdict, its waiver and the limit's reason too.

    `ledger` False leaves out where the time of the job went.
    """
    parts = [f"{subject(verdict)}: {_verdict(verdict, ledger)}."]
    if verdict.outcome != "pass" and verdict.budget.reason:
        parts.append(f"Reason for the limit: {verdict.budget.reason.rstrip('.')}.")
    if waiver := waived(verdict, today):
        parts.append(waiver)
    return " ".join(parts)


def together(verdicts: Sequence[Verdict]) -> str:
    """Several verdicts that are unknown for one and the same reason."""
    keys: dict[str, list[str]] = {}
    for verdict in verdicts:
        keys.setdefault(subject(verdict), []).append(verdict.budget.measure.key)
    whose = "; ".join(f"{name}: {', '.join(of_it)}" for name, of_it in keys.items())
    near = all(verdict.margin is not None and verdict.margin >= 0 for verdict in verdicts)
    known = " All are met as far as is known." if near else ""
    return f"{len(verdicts)} limits are unknown, for {verdicts[0].why} ({whose}).{known}"


def lossy(judged: Verdicts) -> str:
    """What to do about a log of which much is unknown; empty for one without a loss."""
    quality = judged.analysis.quality
    if not quality.lost_events and not quality.contradictions and quality.boots == 1:
        return ""
    return (
        f"What the cores did is known for {percent(quality.coverage)} of their time. How much "
        "may be unknown can be set: tolerated_loss under [budgets]."
    )


def waived(verdict: Verdict, today: date) -> str:
    """What there is to say about a waiver; empty without one."""
    waiver = verdict.budget.waiver
    if waiver is None:
        return ""
    why = waiver.reason.rstrip(".")
    if today > waiver.until:
        return f"The waiver expired on {waiver.until} and counts no more ({why})."
    if verdict.outcome == "pass":
        return f"The waiver until {waiver.until} is not needed ({why})."
    return f"Waived until {waiver.until}: {why}."


def where(spot: Spot) -> str:
    """'job 21, released at 0.040000 s (run.csv:582)'."""
    told = f"at {moment(spot.at_ns)}"
    if spot.job is not None:
        told = f"job {spot.job}, released {told}"
    elif spot.task is not None:
        told = f"{spot.task}, {told}"
    return told if spot.line is None else f"{told} ({PurePath(spot.file or '').name}:{spot.line})"


def entry(one: Entry) -> str:
    """'inversion by panel via flash_bus 3128 µs'."""
    by = f" by {one.by}" if one.by and one.entry != "execution" else ""
    via = f" via {one.via}" if one.via else ""
    whole, rest = divmod(one.ns, 1000)
    us = f"{whole}" + (f".{rest:03}".rstrip("0") if rest else "")
    return f"{one.entry}{by}{via} {us} µs"


def _verdict(verdict: Verdict, ledger: bool) -> str:
    measure = verdict.budget.measure
    key = measure.key
    allowed = limit(verdict)
    if verdict.measured is None:
        return f"{key} is unknown: {verdict.why}"
    found = quantity(verdict, verdict.measured)
    of = "" if verdict.count is None else f" ({so_many(verdict.count, verdict.counted)})"
    if verdict.outcome == "pass":
        return f"{key} is {found}{of}, within {allowed}"
    if verdict.outcome == "unknown":
        asked = f"at least {allowed} required" if measure.least else f"at most {allowed} allowed"
        return f"{key} is {found} as far as is known, {asked}: {verdict.why}"
    beyond = quantity(verdict, -(verdict.margin or 0))
    said = (
        f"{key} is {found}{of}, {beyond} less than the {allowed} required"
        if measure.least
        else f"{key} is {found}{of}, {beyond} more than the {allowed} allowed"
    )
    spot = verdict.spot
    if spot is None:
        return said
    entries = ", ".join(map(entry, spot.ledger)) if ledger else ""
    return f"{said}; {where(spot)}{f': {entries}' if entries else ''}"
