"""The verdicts on a run as a document: what broke a limit first, then the tightest limits."""

from collections.abc import Iterator
from pathlib import PurePath

from tracelens.findings.wording import OBSERVED, SAFETY
from tracelens.model.verdicts import OUTCOMES, Spot, Verdict, Verdicts
from tracelens.numbers import moment
from tracelens.report import verdict_words as words
from tracelens.report.blocks import Column, Document, Listing, Paragraph, Remark, Section, Table
from tracelens.report.document import facts, title
from tracelens.report.rows import MOST_ROWS, left_out, names_of


def document(judged: Verdicts) -> Document:
    """The verdicts on one run. Names are as in the log: each renderer makes safe what it prints."""
    sections = (_table(judged), _globs(judged), _waivers(judged))
    return Document(
        title=f"{title(judged.analysis)} against {PurePath(judged.budgets.place).name}",
        facts=facts(judged.analysis),
        verdict=_verdict(judged),
        remarks=tuple(_remarks(judged)),
        sections=(
            *(section for section in sections if section),
            Section("What this check cannot say", (Paragraph(OBSERVED), Paragraph(SAFETY))),
        ),
    )


def worst_first(judged: Verdicts) -> list[Verdict]:
    """Those that decide first, by outcome; passes by how little they have to spare."""
    return sorted(
        judged.verdicts, key=lambda one: (not one.counts, OUTCOMES.index(one.outcome), _spare(one))
    )


def severity(verdict: Verdict) -> str:
    """How loud it is told: 'error' breaks the run, 'note' if waived; what is unknown warns."""
    if verdict.waived or verdict.budget.severity == "note":
        return "note"
    return verdict.budget.severity if verdict.outcome == "fail" else "warning"


def _spare(verdict: Verdict) -> float:
    if verdict.outcome != "pass" or verdict.margin is None:
        return 0.0
    return verdict.margin / verdict.budget.limit if verdict.budget.limit else 1.0


def _verdict(judged: Verdicts) -> str:
    every = len(judged.verdicts)
    failed, unknown, passed = (judged.count(outcome) for outcome in OUTCOMES)
    told = [f"{passed} of {every} limits are met"]
    if failed:
        told.append(f"{failed} broken")
    if unknown:
        told.append(f"{unknown} unknown")
    if waived := sum(one.waived for one in judged.verdicts):
        told.append(f"{waived} of these waived")
    mild = sum(
        one.outcome != "pass" and not one.waived and not one.counts for one in judged.verdicts
    )
    if mild:
        told.append(f"{mild} of these only warn{'s' if mild == 1 else ''}")
    return f"{judged.outcome.capitalize()}: {', '.join(told)}."


def _remarks(judged: Verdicts) -> Iterator[Remark]:
    """What is not met. Where the time of a job went is told once, and so is each doubt."""
    told: set[Spot] = set()
    open_ones: dict[tuple[str, str], list[Verdict]] = {}
    for verdict in worst_first(judged):
        if verdict.outcome == "fail":
            spot = verdict.spot
            text = words.sentence(verdict, judged.today, ledger=spot not in told)
            at = "" if spot is None else f"{moment(spot.at_ns)}"
            told |= {spot} if spot is not None else set()
            yield Remark(severity(verdict), text, at)
        elif verdict.outcome == "unknown":
            open_ones.setdefault((verdict.why, severity(verdict)), []).append(verdict)
    for (_, how), verdicts in open_ones.items():
        if len(verdicts) == 1:
            yield Remark(how, words.sentence(verdicts[0], judged.today), "")
        else:
            yield Remark(how, words.together(verdicts), "")
    if open_ones and (lossy := words.lossy(judged)):
        yield Remark("note", lossy, "")


def _table(judged: Verdicts) -> Section | None:
    met = [one for one in worst_first(judged) if one.outcome == "pass"]
    if not met:
        return None
    shown = met[:MOST_ROWS]
    rows = tuple(
        (
            words.subject(one),
            one.budget.measure.key,
            words.quantity(one, one.measured),
            words.limit(one),
            _spare(one) if one.budget.limit else None,
        )
        for one in shown
    )
    columns = (
        Column("of"),
        Column("measure"),
        Column("found", "count"),
        Column("limit", "count"),
        Column("to spare", "share"),
    )
    note = left_out(len(shown), len(met), "limits", "tightest")
    said = "Found and limit are in the unit of the measure's name, a share is of 1."
    return Section("Limits that are met, the tightest first", (Table(columns, rows, note + said),))


def _globs(judged: Verdicts) -> Section | None:
    if not judged.met:
        return None
    told = [f"[{table}] meets {names_of(names)}" for table, names in judged.met]
    over: dict[tuple[str, str, str], list[str]] = {}
    for one in judged.passed_over:
        over.setdefault((one.table, one.measure, one.why), []).append(one.name)
    told += [
        f"{measure} of [{table}] says nothing about {names_of(names)}: {why}"
        for (table, measure, why), names in over.items()
    ]
    said = Paragraph("A limit that a name sets for itself goes before that of a glob.")
    return Section("What the globs meet", (Listing(tuple(told)), said))


def _waivers(judged: Verdicts) -> Section | None:
    told = [
        f"{words.subject(one)}, {one.budget.measure.key}: {words.waived(one, judged.today)}"
        for one in judged.verdicts
        if one.budget.waiver is not None
    ]
    if not told:
        return None
    said = Paragraph(f"As of {judged.today}; a waiver holds up to and including its day.")
    return Section("Waivers", (Listing(tuple(told)), said))
