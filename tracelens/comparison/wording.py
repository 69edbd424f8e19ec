"""The sentences of a comparison: what moved, what was counted, and how it was judged."""

from collections.abc import Mapping
from typing import Any, Final

from tracelens.comparison.judge import Case
from tracelens.comparison.records import Comparison
from tracelens.numbers import MINUS, count, duration, listing, percent, signed_hundredths, stated

METHODS: Final[dict[Case, str]] = {
    "shared_out": "The runs were shared out anew between the sides in {ways} ways{boards}; p is "
    "the share of these ways in which the largest difference of all quantities, in standard "
    "errors, is at least as large (step-down maxT, Westfall and Young 1993).",
    "few_runs": "Too few runs to share them out anew at this rate: Student's t on the runs' values"
    "{boards}, and Holm's procedure over all comparisons (Holm 1979).",
    "one_run": "One run a side does not tell how runs differ from one another. Only what varies "
    "within a run counts as noise, so a difference may be one of the run, the boot or the board "
    "as well as of the build. Welch's t, and Holm's procedure over all comparisons (Holm 1979).",
}

MORE_RUNS: Final = (
    "Four runs a side or more, of several boots and boards, also tell of stacks and longest "
    "responses, and of smaller changes; `#run board=` names the board of a run."
)
WITHIN: Final = (
    "What varies within a run is taken from blocks of consecutive jobs or windows, for a job "
    "depends on those before it (moving block bootstrap, Künsch 1989, in closed form; length of "
    "the blocks after Politis and White 2004)."
)


def title(found: Comparison) -> str:
    """'old.csv → new.csv', or '5 old runs → 3 new runs'."""
    if len(found.old) == len(found.new) == 1:
        return f"{found.old[0].name} → {found.new[0].name}"
    return f"{count(len(found.old), 'old run')} → {count(len(found.new), 'new run')}"


def verdict(found: Comparison) -> str:
    """What the whole comparison comes to, in one sentence."""
    noise = "the noise within a run" if found.case == "one_run" else "noise"
    moved = found.moved
    if moved.is_empty():
        if found.judged == 0:
            return "Nothing could be judged: too few jobs."
        return f"No difference beyond {noise}, in {count(found.judged, 'comparison')}."
    worse = int(moved["worse"].sum())
    better = moved.height - worse
    sorts = [f"{n} for the {word}" for n, word in ((worse, "worse"), (better, "better")) if n]
    return (
        f"{moved.height} of {count(found.judged, 'comparison')} moved beyond {noise}: "
        f"{' and '.join(sorts)}."
    )


def moved(row: Mapping[str, Any]) -> str:
    """One sentence about a row of `COMPARISONS` that moved."""
    subject, quantity = row["subject"], row["quantity"]
    old, new = (_value(row[side], row["unit"]) for side in ("old", "new"))
    if quantity == "execution":
        return f"{subject} executes {_by(row, 'longer', 'shorter')}: mean {old} → {new}{_to(row)}."
    if quantity == "section":
        more = _by(row, "longer", "shorter")
        return f"{subject}: the section executes {more}: mean {old} → {new}{_to(row)}."
    if quantity == "response":
        return f"{subject} responds {_by(row, 'later', 'sooner')}: mean {old} → {new}{_to(row)}."
    if quantity in ("slow_execution", "slow_response"):
        does = "execute" if quantity == "slow_execution" else "respond after"
        return (
            f"{new} of the jobs of {subject} {does} more than {duration(row['above_ns'])}, "
            f"before {old}{_to(row)}."
        )
    if quantity == "longest_response":
        return f"The longest response of {subject} in a run went from {old} to {new}{_to(row)}."
    if quantity == "misses":
        return f"{subject} misses its deadline in {new} of its jobs, before in {old}{_to(row)}."
    if quantity == "load":
        does = "is busy for" if subject.startswith("core ") else "takes"
        of = "of the time" if subject.startswith("core ") else "of a core"
        return f"{subject} {does} {new} {of}, before {old}{_to(row)}."
    if quantity == "stack":
        return f"The stack of {subject} keeps {new} free, before {old}{_to(row)}."
    others = ", while others ran" if quantity == "unbounded_inversion" else ""
    return (
        f"{subject} is held up by locks of lower tasks{others} for {new} of the time, before "
        f"{old}{_to(row)}."
    )


def counted(found: Comparison) -> list[str]:
    """Misses that only one side has, though not beyond noise: nobody should have to look."""
    late = found.comparisons.filter(found.comparisons["quantity"] == "misses")
    told = []
    for row in late.to_dicts():
        if row["moved"] or (row["old"] > 0) == (row["new"] > 0):
            continue
        side, other = ("new", "old") if row["new"] > 0 else ("old", "new")
        doubt = (
            f"not judged ({row['unjudged']})"
            if row["unjudged"]
            else "so few jobs, or so uneven ones, do not tell that from chance"
        )
        told.append(
            f"{row['subject']} missed its deadline in {share(row[side])} of the jobs of the {side} "
            f"side and in none of the {other} one; {doubt}."
        )
    return told


def came_or_went(found: Comparison) -> list[str]:
    """Tasks and handlers that ran in all runs of one side and in none of the other."""
    told = []
    if found.came:
        told.append(f"Only in the new runs: {listing(found.came, 12)}.")
    if found.went:
        told.append(f"Only in the old runs: {listing(found.went, 12)}.")
    return told


def presence(found: Comparison) -> list[str]:
    """Tasks and handlers that came, went, or ran in some runs only."""
    told = came_or_went(found)
    part = [
        f"{row['subject']} ({row['old_runs']} of {len(found.old)} old, "
        f"{row['new_runs']} of {len(found.new)} new)"
        for row in found.sometimes.to_dicts()
    ]
    if part:
        told.append(f"In some runs of a side only, so not judged: {listing(part, 12)}.")
    return told


def method(found: Comparison) -> list[str]:
    """How it was judged, with sources."""
    blocked = ", each within its board" if found.boards else ""
    return [
        f"All {count(found.judged, 'comparison')} are judged together: if nothing differed, the "
        f"chance that any would be said to have moved is at most {stated(found.rate)} "
        "(family-wise error).",
        METHODS[found.case].format(ways=found.ways, boards=blocked),
        WITHIN,
        "'detectable' is the change that about three in four such comparisons would find (by the "
        "noncentral t, Cohen 1988): a smaller one may be there and not show. Intervals are of "
        "95 %, each by itself.",
        *([MORE_RUNS] if found.case != "shared_out" else []),
    ]


def _by(row: Mapping[str, Any], more: str, less: str) -> str:
    word = more if row["change"] > 0 else less
    return f"{share(abs(row['change'] / row['old']))} {word}" if row["old"] else word


def _to(row: Mapping[str, Any]) -> str:
    """The interval of the change."""
    low, high = (_signed(row[f"change_{end}"], row["unit"]) for end in ("low", "high"))
    return f" (change {low} to {high}{' points' if row['unit'] == 'share' else ''})"


def _signed(value: float, unit: str) -> str:
    if unit == "share":
        return signed_hundredths(value, 3)
    return f"{MINUS if value < 0 else '+'}{_value(abs(value), unit)}"


def _value(value: float, unit: str) -> str:
    if unit == "ns":
        return duration(value)
    return f"{value:.0f} bytes" if unit == "bytes" else share(value)


def share(value: float) -> str:
    """A share in percent: the small ones matter here."""
    return percent(value, 3)
