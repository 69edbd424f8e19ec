"""What the reader asks: changes of a run, as the address and the controls say them."""

from collections.abc import Sequence
from typing import Any, Final, cast
from urllib.parse import parse_qsl, urlencode

from tracelens.drawing.runs import Run
from tracelens.errors import UsageError
from tracelens.model.system import PROTOCOLS
from tracelens.plain import plain
from tracelens.replay import KINDS, Change, parse
from tracelens.replay.changes import Kind
from tracelens.web.rooms.nav import REPAIR

OFFERED: Final[dict[Kind, str]] = {
    "protocol": "the protocol of a lock",
    "priority": "the priority of a task",
    "scale": "the execution of a task, ×",
    "clock": "the clock of the cores, ×",
}
"""The kinds of change that have a control; the address may hold any kind that `whatif` knows."""

MOST_CHANGES: Final = 12
_LONGEST: Final = 400

Written = list[list[str]]
"""Changes as the browser keeps them: kind, and the text as on the command line."""


def link(run_id: str, job_id: int | None, changes: Sequence[Change] = (), **prefilled: str) -> str:
    """The address of the room; `prefilled` is `kind` and `of` of the controls."""
    query = [("run", run_id), *([("job", str(job_id))] if job_id is not None else [])]
    query += [(change.kind, str(change).split(" ", 1)[1]) for change in changes]
    return f"{REPAIR}?{urlencode([*query, *prefilled.items()])}"


def written(search: str) -> Written:
    """The changes of an address, unchecked; no more than `MOST_CHANGES`."""
    pairs = parse_qsl(search.removeprefix("?"), keep_blank_values=True)
    found = [[kind, text[:_LONGEST]] for kind, text in pairs if kind in KINDS]
    return found[:MOST_CHANGES]


def changes_of(told: Written) -> tuple[Change, ...]:
    """The changes. Raises `UsageError` for the first that says nothing."""
    return tuple(parse(cast(Kind, kind), text) for kind, text in told)


def with_change(told: Written, kind: str, subject: str, value: str) -> Written:
    """One change more, in place of one of the same thing. Raises `UsageError`."""
    if kind not in OFFERED:
        raise UsageError("no change is chosen: found nothing, expected one of the list")
    if kind != "clock" and not subject:
        what = "lock" if kind == "protocol" else "task"
        raise UsageError(f"no {what} is chosen: found nothing, expected one of the run")
    text = value.strip() if kind == "clock" else f"{subject}={value.strip()}"
    parse(kind, text)
    of_the_same = kind, text.rpartition("=")[0]
    kept = [[one, old] for one, old in told if (one, old.rpartition("=")[0]) != of_the_same]
    if len(kept) >= MOST_CHANGES:
        raise UsageError(f"too many changes: expected at most {MOST_CHANGES}")
    return [*kept, [kind, text]]


def in_words(kind: str, text: str) -> str:
    """A written change in a few words; one that says nothing as it was written."""
    try:
        return sentence(parse(cast(Kind, kind), text))
    except UsageError:
        return plain(f"{kind} {text}")


def sentence(change: Change) -> str:
    """A change in a few words."""
    subject = plain(change.subject)
    if change.kind == "protocol":
        return f"{subject}: {PROTOCOLS[change.protocol or 'none']}"
    if change.kind == "priority":
        return f"{subject}: priority {change.value}"
    if change.kind == "scale":
        return f"{subject}: execution × {change.factor:g}"
    if change.kind == "clock":
        return f"clock × {change.factor:g}"
    return plain(str(change).removeprefix("--"))


def subjects(run: Run, kind: str) -> list[dict[str, Any]]:
    """What a kind of change can be of: options, each with what it is as declared."""
    system = run.analysis.timeline.system
    if kind == "protocol":
        named = [(one.name, f" ({one.protocol or 'no protocol'})") for one in system.locks]
    elif kind == "clock":
        named = []
    else:
        idle = {lane.name for lane in run.lanes.of("task") if lane.idle}
        tasks = [task for task in system.tasks if task.name not in idle]
        named = [(task.name, f" ({task.priority})" if kind == "priority" else "") for task in tasks]
    return [{"value": name, "label": plain(name[:60]) + told} for name, told in named]
