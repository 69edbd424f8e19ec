"""Readers of the event log, and what is made of a log that can be read."""

import gzip
import io
import json
import unicodedata
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any
from unittest.mock import patch

import polars as pl
import zstandard
from polars.testing import assert_frame_equal

from tests.fuzz.target import Target
from tests.random_logs import random_log
from tests.reconstruct.test_invariants import _assert_tiles
from tracelens.analysis import analyse
from tracelens.convert.parquet import from_parquet, to_parquet
from tracelens.convert.vcd_out import write_vcd
from tracelens.cutting import around_miss, between, cut_out
from tracelens.errors import LogError, TraceLensError
from tracelens.explanation import explain, find_job
from tracelens.log import scan, write
from tracelens.log.lines import Part, _scanned, _undamaged
from tracelens.log.reader import _assemble
from tracelens.log.sources import Source, unpack
from tracelens.log.text import Text
from tracelens.log.unused import Unused
from tracelens.model.events import EVENT_WORDS, HEADER
from tracelens.model.log import Log
from tracelens.model.results import Timeline
from tracelens.reconstruct import reconstruct
from tracelens.report import explained, explained_json, html, json_, markdown, text
from tracelens.report.document import document
from tracelens.units import NS_PER_S

HERE = Path(__file__).parents[1]
MOST = 1 << 24
"""Bytes that a seed of a few hundred may unpack to."""

_HEAD = b"#tracelens 1\n#clock hz=1000000 bits=32\n#priority order=higher_first\n"
WORDS = (
    *(f"1000,0,{word},t1,m1".encode() for word in EVENT_WORDS),
    b"1000,0,mask,t1,irq", b"1000,0,mask,i1,sched", b"1000,0,mark,a,begin", b"1000,0,mark,a,end",
    b"1000,1,wake,0,500", b"1000,0,lost,,3", b"1000,0,wait,t1,delay", b"1000,0,start,-,",
    b"1000,0,send,t1,q1", b"1000,0,receive,t2,q1", b"1000,0,wait,t1,q1", b"1000,0,enter,i1,",
    b"#tracelens 1", HEADER.encode(), b"#clock hz=1000000 bits=16 late_us=20",
    b"#clock core=1 hz=48000000 bits=32", b"#clock hz=25000000 bits=64", b"#clock hz=3 bits=8",
    b"#priority order=higher_first", b"#priority order=lower_first",
    b"#policy name=edf", b"#policy name=round_robin", b"#core id=1 name=other",
    b"#task id=t1 name=a priority=3 period_us=10 deadline_us=5 offset_us=2 activation=delay",
    b"#task id=t1 name=b priority=-1 separation_us=7 stack_bytes=512 activation=q1 core=1",
    b"#task id=t2 name=idle idle=yes", b"#task id=t3 activation=activate deadline_us=3.5",
    b"#isr id=i1 name=encoder priority=2", b"#lock id=m1 name=bus protocol=ceiling ceiling=9",
    b"#lock id=m2 protocol=inherit", b"#queue id=q1 name=row depth=2",
    b'#run build=4f board="two words"', b'#note text="a note"', b"# remark", b"", b"\r",
    b"\xff\xfe", b"\xc3\xa9", b"\x00", b'"', b" ", b"18446744073709551615,0,mark,x,",
    b"9223372036854775808,0,start,t1,", b"+5,00,start,t1", b"\t7,0,start,t1,\r",
)  # fmt: skip


def small_logs() -> list[bytes]:
    """Logs of every kind, each of a few hundred bytes."""
    files = [*sorted((HERE / "bad_logs").iterdir()), *sorted((HERE / "micro").glob("*.csv"))]
    drawn = [
        random_log(seed, events=30, cores=1 + seed % 2, messy=seed % 3 > 0).encode()
        for seed in range(24)
    ]
    return [*(file.read_bytes()[:4000] for file in files), *drawn, _HEAD]


# ------------------------------------------------------------------ from bytes to events


def lines(data: bytes) -> None:
    """All ways to take a log apart agree, and what one finds wrong no other takes."""
    slow, losses = _slowly(data)
    fast = _undamaged(data)
    if fast is not None:
        assert not losses.first(), "the fast way takes what the other finds wrong"
        _are_alike(fast, slow)
    whole = scan._bounds
    with (
        patch.object(scan, "_BLOCK", 48),
        patch.object(scan, "_DECODED", 16),
        patch.object(scan, "_PIECE", 256),
        patch.object(scan, "_bounds", lambda text_, _most: whole(text_, 3)),
    ):
        piecewise, others = _slowly(data)
    _are_alike(piecewise, slow)
    assert losses.table(("",)).equals(others.table(("",)))


def _slowly(data: bytes) -> tuple[Part, Unused]:
    losses = Unused()
    return _scanned(Text.of(data), 0, losses), losses


def _are_alike(one: Part, other: Part) -> None:
    assert_frame_equal(one.events, other.events, categorical_as_str=True)
    for field in ("remarks", "headers", "lines", "says_something"):
        assert getattr(one, field) == getattr(other, field), field


def reading(data: bytes) -> None:
    """Every line is accounted for, `strict` refuses what has unused lines and nothing else."""
    log = _log(data)
    strict = _log(data, strict=True)
    if log is None:
        assert strict is None
        return
    told = log.unused.filter(~pl.col("reason").is_in(_OF_DECLARATIONS))
    assert len(log.events) + told["count"].sum() + _no_events(data) == log.lines
    assert (strict is None) == bool(len(log.unused)), log.unused
    if strict is not None:
        assert_frame_equal(strict.events, log.events)
    times = log.events["time_ns"]
    assert times.is_sorted() and log.events["boot"].is_sorted()
    assert not len(times) or times[0] == 0
    for sentence in log.warnings:
        assert "\n" not in sentence


_OF_DECLARATIONS = (
    "not a declaration",
    "a declaration that is not key=value",
    "a declaration without id",
    "a declared value does not fit",
)


def _no_events(data: bytes) -> int:
    """Lines that are blank, the columns' names, or begin with '#' and are whole text."""
    data = data.removeprefix(b"\xef\xbb\xbf")
    whole = data.split(b"\n")
    count = 0
    for number, line in enumerate(whole):
        is_last = number == len(whole) - 1
        if is_last and not line:
            continue
        if line in (b"", b"\r") or line in (HEADER.encode(), HEADER.encode() + b"\r"):
            count += 1
        elif line.startswith(b"#") and not is_last:
            try:
                line.decode()
            except UnicodeDecodeError:
                continue
            count += 1
    return count


def _log(data: bytes, *, strict: bool = False) -> Log | None:
    try:
        return _assemble([_source("log", data)], strict)
    except LogError as error:
        _is_one_line(error)
        return None


def _source(name: str, data: bytes) -> Source:
    return Source(name, Text.of(data.removeprefix(b"\xef\xbb\xbf")))


def _is_one_line(error: TraceLensError) -> None:
    told = f"{error}{error.hint or ''}"
    assert "\n" not in told and len(told) < 2000, told


def written(data: bytes) -> None:
    """What was read is written such that it reads the same."""
    log = _log(data)
    if log is None:
        return
    out = io.BytesIO()
    try:
        write(log, log.declared, out)
    except LogError as error:
        _is_one_line(error)
        return
    again = _log(out.getvalue())
    assert again is not None, out.getvalue()
    assert not len(again.unused), again.unused
    mine, theirs = (_comparable(one) for one in (log, again))
    exact = all(NS_PER_S % clock.hz == 0 for clock in log.declared.clocks)
    if not exact:
        off = (mine["time_ns"] - theirs["time_ns"]).abs().max()
        assert off is None or off <= 1
        mine, theirs = mine.drop("time_ns"), theirs.drop("time_ns")
    assert_frame_equal(mine, theirs)
    own = any(clock.core is not None for clock in log.declared.clocks)
    for kind in ("tasks", "isrs", "locks", "queues", "cores", *(() if own else ("clocks",))):
        before, after = (getattr(one.declared, kind) for one in (log, again))
        assert _by_id(before) == _by_id(after)
    for field in ("order", "policy", "run", "notes"):
        assert getattr(log.declared, field) == getattr(again.declared, field)


def _comparable(log: Log) -> pl.DataFrame:
    return log.events.select(
        "time_ns",
        "core",
        *(pl.col(c).cast(pl.String) for c in ("event", "subject", "value")),
        "boot",
    )


def _by_id(things: tuple[Any, ...]) -> dict[Any, list[Any]]:
    """What each id meant, in order; where else its lines stood makes no difference."""
    found: dict[Any, list[Any]] = {}
    for one in things:
        told = replace(one, line=None) if hasattr(one, "line") else one
        found.setdefault(getattr(one, "id", None), []).append(told)
    return found


def parts(data: bytes) -> None:
    """A log that was cut in two within a line, at the first byte 2, reads like the whole one."""
    first, _, second = data.partition(b"\x02")
    data = first + second
    if not first or first.endswith(b"\n") or HEADER.encode() in second or b"#tracelens" in second:
        return
    if second.startswith((b"#", HEADER.encode()[:1])) or b"\n" not in second:
        return
    if not len(_slowly(first)[0].events):
        return  # it is no log by itself
    whole = _log(data)
    try:
        cut = _assemble([_source("a", first), _source("b", second)], False)
    except LogError as error:
        _is_one_line(error)
        rest = _slowly(second.partition(b"\n")[2])[0]
        assert whole is None or not (len(rest.events) or rest.remarks), "a part like any other"
        return
    assert whole is not None
    if cut.events["part"].n_unique() == 2:
        cores = cut.events.group_by("part").agg(pl.col("core").unique()).sort("part")["core"]
        if set(cores[0]).isdisjoint(cores[1]):
            return  # files with cores of their own are merged by time
    assert_frame_equal(_comparable(whole), _comparable(cut))
    assert (
        whole.unused.select("reason", "count")
        .sort("reason")
        .equals(cut.unused.select("reason", "count").sort("reason"))
    )


def packed(data: bytes) -> None:
    """A compressed log, whole or damaged, and what it unpacks to; the bound holds."""
    try:
        source = unpack("log", data, MOST)
    except LogError as error:
        _is_one_line(error)
        return
    assert len(source.data) <= MOST
    if len(source.data) < 1 << 14:
        _log(source.data)


def _packings() -> list[bytes]:
    text_ = small_logs()[5]
    one, other = gzip.compress(text_), zstandard.compress(text_)
    return [
        one, other, one + one, other + other, one[:-9], other[:-9], one + b"\0" * 40, other + one,
        zstandard.ZstdCompressor(write_checksum=True).compress(text_ * 3), text_,
        b"\x50\x2a\x4d\x18\x04\0\0\0abcd" + other,
    ]  # fmt: skip


# ------------------------------------------------------------------ from events to a report


def timeline(data: bytes) -> Timeline | None:
    """What happened: states and occupants tile the span, a job's episodes add up to it."""
    log = _log(data)
    if log is None:
        return None
    run = reconstruct(log)
    if run.span_ns:
        _assert_tiles(run.task_states, "task", run.span_ns)
        _assert_tiles(run.occupancy, "core", run.span_ns)
    spent = run.episodes.group_by("job_id").agg((pl.col("end_ns") - pl.col("start_ns")).sum())
    both = run.jobs.join(spent.rename({"end_ns": "spent_ns"}), "job_id", "left")
    assert (both["spent_ns"].fill_null(0) == both["end_ns"] - both["release_ns"]).all()
    return run


def in_parts(data: bytes) -> None:
    """The events taken a few at a time give the same."""
    log = _log(data)
    if log is None or len(log.events) > 300:
        return
    whole, pieces = reconstruct(log), reconstruct(log, part_events=1 + len(data) % 7)
    for name in ("task_states", "occupancy", "jobs", "episodes", "holds", "inversions"):
        assert_frame_equal(getattr(whole, name), getattr(pieces, name))


def reported(data: bytes) -> None:
    """The report in every form; nothing in it moves a cursor or is markup."""
    run = timeline(data)
    if run is None:
        return
    analysis = analyse(run)
    page = document(analysis)
    screen = io.StringIO()
    text.show(page, screen)
    is_inert(screen.getvalue())
    is_inert(markdown.render(page))
    json.loads(b"".join(json_.chunks(analysis)))


def drawn(data: bytes) -> None:
    """The report with pictures: no markup but its own, no script of a log's."""
    log = _log(data)
    if log is None:
        return
    run = reconstruct(log)
    page = html.render(analyse(run), run)
    is_inert(page)


def is_inert(shown: str) -> None:
    """No control, format or separating character but line feeds."""
    acting = {c for c in shown if unicodedata.category(c) in ("Cc", "Cf", "Zl", "Zp", "Cs")}
    assert acting <= {"\n"}, acting


def told(data: bytes) -> None:
    """One job told, a small log cut around it, the run as a dump of changes and as Parquet."""
    run = timeline(data)
    if run is None:
        return
    tried(lambda: _explained(run))
    tried(lambda: cut_out(run, around_miss(run)))
    tried(lambda: cut_out(run, around_miss(run), redact=True))
    tried(lambda: cut_out(run, between(run, run.span_ns // 4, run.span_ns // 2)))
    tried(lambda: write_vcd(run))
    tried(lambda: _as_parquet(run.log))


def _explained(run: Timeline) -> None:
    telling = explain(run, find_job(run))
    screen = io.StringIO()
    text.show(explained.document(telling), screen)
    is_inert(screen.getvalue())
    json.loads(explained_json.encode(telling))


def _as_parquet(log: Log) -> None:
    out = io.BytesIO()
    write(log, log.declared, out)
    again = from_parquet(to_parquet(out.getvalue(), "log"), "log")
    assert again == out.getvalue()


def tried(act: Callable[[], object]) -> None:
    """Do it; an error is one for the user."""
    try:
        act()
    except TraceLensError as error:
        _is_one_line(error)


TARGETS = {
    "lines": Target(lines, small_logs, WORDS),
    "reading": Target(reading, small_logs, WORDS),
    "written": Target(written, small_logs, WORDS),
    "parts": Target(
        parts, lambda: [log[:-40] + b"\x02" + log[-40:] for log in small_logs()], WORDS
    ),
    "packed": Target(packed, _packings, text=False),
    "timeline": Target(lambda data: void(timeline(data)), small_logs, WORDS),
    "in_parts": Target(in_parts, small_logs, WORDS),
    "reported": Target(reported, small_logs, WORDS),
    "drawn": Target(drawn, small_logs, WORDS),
    "told": Target(told, small_logs, WORDS),
}


def void(_result: object) -> None:
    """Nothing."""
