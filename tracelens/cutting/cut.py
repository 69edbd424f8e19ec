"""Cut a small log out of a large one, and see to it that it reads the same.

The cut begins and ends a margin away from what it is about. It is read again as any log is; where
the jobs in it do not have the same times, ledgers and inversions as in the whole log, more of the
log is taken: twice as much before them, to the begin of the log if need be, then after them.
"""

from dataclasses import dataclass
from io import BytesIO
from math import gcd
from pathlib import PurePath

import polars as pl

from tracelens.cutting.aim import Aim
from tracelens.cutting.begin import quiet_begin
from tracelens.cutting.compare import account, keys
from tracelens.cutting.declare import declarations, ids_at, with_note
from tracelens.cutting.opening import Row, opening
from tracelens.cutting.redact import redacted
from tracelens.errors import DamageError, LogError, UsageError
from tracelens.log import read_bytes, write
from tracelens.model.events import EVENTS
from tracelens.model.results import Timeline
from tracelens.model.system import Place, System
from tracelens.reconstruct import reconstruct
from tracelens.units import NS_PER_S, NS_PER_US

_LEAST_MARGIN_NS = 10 * NS_PER_US


@dataclass(frozen=True, slots=True)
class Piece:
    """A small log: its text, and the time [start_ns, end_ns] of the whole log that it holds.

    `events` counts those taken over, `opening` those before them that put the system into its
    state. `jobs` were compared, and read the same; `extensions` tells how often the cut was made
    longer for that.
    """

    text: bytes
    start_ns: int
    end_ns: int
    events: int
    opening: int
    jobs: int
    extensions: int


@dataclass(frozen=True, slots=True)
class _Draft:
    """A cut that is not yet written. Times in it are those of the whole log."""

    declared: System
    events: pl.DataFrame
    opening: int
    start_ns: int
    end_ns: int
    start_ticks: int


def cut_out(run: Timeline, aim: Aim, *, redact: bool = False) -> Piece:
    """Cut `aim` out of a run that was read.

    With `redact` every name is replaced by a neutral one. What a system file said about the run is
    declared in the small log, except chains, of which a log says nothing. Raises `DamageError` if
    the jobs cannot be made to read the same, `UsageError` for a log without events.
    """
    if run.log.events.is_empty():
        raise UsageError("nothing to cut: found no events, expected some", hint="check the log")
    left = right = aim.margin_ns
    extensions = 0
    while True:
        begin = _begin(run, aim.start_ns, left)
        draft = _draft(run, begin, min(aim.end_ns + right, run.span_ns))
        piece = _checked(run, aim, draft, extensions, redact)
        if piece:
            return piece
        extensions += 1
        if draft.start_ns > 0:
            left = max(2 * left, _LEAST_MARGIN_NS)
        elif draft.end_ns < run.span_ns:
            right = max(2 * right, _LEAST_MARGIN_NS)
        else:
            raise DamageError(
                f"cannot be cut: found no part of the log in which {aim.what} would read the "
                "same, expected one",
                hint="pass the log on whole, or cut around another place",
            )


@dataclass(frozen=True, slots=True)
class _Begin:
    """Events from `from_ns` on are kept, of `boot` and later ones; `boot_ns` is when it began.

    `clean` says that nothing stands before them in their boot.
    """

    boot: int
    boot_ns: int
    from_ns: int
    clean: bool


def _begin(run: Timeline, target_ns: int, margin_ns: int) -> _Begin:
    """Where to begin to keep `margin_ns` before `target_ns`, or a little more."""
    starts = (0, *run.log.restarts)
    boot = max(0, sum(start < target_ns for start in starts) - 1)
    high = target_ns - max(margin_ns, 1)
    while boot and high <= starts[boot]:
        if margin_ns < 2 * (target_ns - starts[boot]):
            return _Begin(boot, starts[boot], starts[boot], clean=True)
        boot -= 1
    found = quiet_begin(run, boot, high - margin_ns, high)
    clean = found is None
    return _Begin(boot, starts[boot], starts[boot] if found is None else found, clean)


def _draft(run: Timeline, begin: _Begin, end_ns: int) -> _Draft:
    kept = run.log.events.filter(
        (pl.col("boot") >= begin.boot)
        & (pl.col("time_ns") >= begin.from_ns)
        & (pl.col("time_ns") <= end_ns)
    )
    first: Place = (kept["part"][0], kept["line"][0])
    last: Place = kept.select("part", "line").sort("part", "line").row(-1)
    start_ns = begin.from_ns
    if not begin.clean:
        start_ns = _whole_tick(run, begin.from_ns - begin.boot_ns) + begin.boot_ns
    ends = (*run.log.restarts, run.span_ns)
    whole = begin.clean and end_ns >= ends[begin.boot]
    part = kept["boot"][-1] == begin.boot and not whole
    declared = declarations(run, first, last, begin.boot, begin.boot_ns, start_ns, part)
    rows = [] if begin.clean else opening(run, begin.boot, begin.from_ns, ids_at(declared, first))
    return _Draft(
        declared=declared,
        events=pl.concat([_table(rows, start_ns, begin.boot, first), kept]),
        opening=len(rows),
        start_ns=start_ns,
        end_ns=end_ns,
        start_ticks=_ticks(run, begin.boot, start_ns),
    )


def _table(rows: list[Row], at_ns: int, boot: int, place: Place) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "part": [place[0]] * len(rows),
            "line": [place[1]] * len(rows),
            "boot": [boot] * len(rows),
            "time_ns": [at_ns] * len(rows),
            "core": [core for core, *_ in rows],
            "event": [word for _, word, *_ in rows],
            "subject": [subject for *_, subject, _ in rows],
            "value": [value for *_, value in rows],
        },
        schema=EVENTS,
    )


def _whole_tick(run: Timeline, ns: int) -> int:
    """The last time up to `ns` that is a whole number both of ticks and of nanoseconds.

    Counted from there, times are rounded to nanoseconds as they are in the whole log.
    """
    clocks = run.log.declared.clocks
    if any(clock.core is not None for clock in clocks):
        return ns
    step = NS_PER_S // gcd(NS_PER_S, clocks[0].hz)
    return ns // step * step


def _ticks(run: Timeline, boot: int, start_ns: int) -> int:
    """What the counter showed at `start_ns`, so that lines stand as in the whole log; else 0."""
    clock, events = run.log.declared.clocks[0], run.log.events
    slept = ((events["event"] == "wake") & events["value"].is_not_null()).any()
    if boot or slept or clock.core is not None:
        return 0
    seconds, rest = divmod(start_ns, NS_PER_S)
    return run.log.start_ticks + seconds * clock.hz + rest * clock.hz // NS_PER_S


def _checked(run: Timeline, aim: Aim, draft: _Draft, extensions: int, redact: bool) -> Piece | None:
    """The cut as text, if the jobs read the same in it."""
    declared, events = draft.declared, draft.events
    names: dict[str, str] = {}
    if redact:
        declared, events, names = redacted(declared, events)
    declared = with_note(declared, _note(run, draft, redact))
    text = BytesIO()
    try:
        write(events, declared, text, start_ticks=draft.start_ticks)
        small = reconstruct(read_bytes(text.getvalue(), "the cut"))
    except LogError:
        if draft.start_ns == 0 and draft.end_ns == run.span_ns:
            raise
        return None
    wanted = keys(run, aim.jobs)
    there = keys(run, aim.jobs, -draft.start_ns, names)
    if not account(run, wanted, draft.start_ns, names).same(account(small, there)):
        return None
    return Piece(
        text=text.getvalue(),
        start_ns=draft.start_ns,
        end_ns=draft.end_ns,
        events=events.height - draft.opening,
        opening=draft.opening,
        jobs=len(aim.jobs),
        extensions=extensions,
    )


def _note(run: Timeline, draft: _Draft, redact: bool) -> str:
    where = ", ".join(PurePath(source).name for source in run.log.sources)
    times = f"cut from {_seconds(draft.start_ns)} s to {_seconds(draft.end_ns)} s"
    opened = f"; the first {draft.opening} events put the system into its state" * bool(
        draft.opening
    )
    return f"{times}{opened}" if redact else f"{times} of {where}{opened}".replace('"', "'")


def _seconds(ns: int) -> str:
    return f"{ns // NS_PER_S}.{ns % NS_PER_S:09}".rstrip("0").rstrip(".")
