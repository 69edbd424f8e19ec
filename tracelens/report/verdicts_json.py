"""Verdicts as one JSON document, `tracelens.check/1`; `check-1.schema.json` describes it.

Limits and measured values are numbers in the unit of their measure's key; moments are µs from the
first event.
"""

from typing import Any, Final

import msgspec

from tracelens.model.verdicts import OUTCOMES, Spot, Verdict, Verdicts
from tracelens.report.verdict_words import sentence
from tracelens.units import ns_to_us

SCHEMA: Final = "tracelens.check/1"


def encode(judged: Verdicts) -> bytes:
    """The document, UTF-8, one verdict a line, ending in a line feed."""
    start, end = judged.analysis.window
    head: dict[str, Any] = {
        "schema": SCHEMA,
        "verdict": judged.outcome,
        "counts": {
            **{str(outcome): judged.count(outcome) for outcome in OUTCOMES},
            "waived": sum(one.waived for one in judged.verdicts),
        },
        "budgets": judged.budgets.place,
        "tolerated_loss": judged.budgets.tolerated_loss,
        "logs": judged.analysis.timeline.log.sources,
        "window_us": [ns_to_us(start), ns_to_us(end)],
        "today": judged.today,
        "globs": [{"table": table, "names": names} for table, names in judged.met],
    }
    head["passed_over"] = judged.passed_over
    rows = b",\n".join(msgspec.json.encode(_row(one, judged)) for one in judged.verdicts)
    return msgspec.json.encode(head)[:-1] + b',\n"verdicts":[\n' + rows + b"\n]}\n"


def _row(verdict: Verdict, judged: Verdicts) -> dict[str, Any]:
    budget = verdict.budget
    waiver = budget.waiver
    return {
        "group": budget.group,
        "name": verdict.name,
        "phase": budget.phase,
        "measure": budget.measure.key,
        "bound": "at_least" if budget.measure.least else "at_most",
        "limit": _number(verdict, budget.limit),
        "of": budget.of,
        "outcome": verdict.outcome,
        "counts": verdict.counts,
        "measured": _number(verdict, verdict.measured),
        "low": _number(verdict, verdict.low),
        "high": _number(verdict, verdict.high),
        "margin": _number(verdict, verdict.margin),
        "values": verdict.count,
        "values_are": verdict.counted or None,
        "why": verdict.why or None,
        "severity": budget.severity,
        "reason": budget.reason or None,
        "waiver": None
        if waiver is None
        else {
            "until": waiver.until,
            "reason": waiver.reason,
            "expired": judged.today > waiver.until,
        },
        "waived": verdict.waived,
        "table": budget.table,
        "line": budget.line,
        "place": _place(verdict.spot),
        "text": sentence(verdict, judged.today),
    }


def _number(verdict: Verdict, value: float | None) -> float | None:
    if value is None or verdict.budget.measure.unit != "us":
        return value
    return ns_to_us(int(value))


def _place(spot: Spot | None) -> dict[str, Any] | None:
    if spot is None:
        return None
    return {
        "at_us": ns_to_us(spot.at_ns),
        "task": spot.task,
        "job": spot.job,
        "file": spot.file,
        "line": spot.line,
        "ledger": [
            {"entry": one.entry, "by": one.by, "via": one.via, "us": ns_to_us(one.ns)}
            for one in spot.ledger
        ],
    }
