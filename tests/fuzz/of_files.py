"""Readers of TOML files, of other recordings, and of a history."""

import io
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path

import msgspec
import polars as pl

from tests.cli.conftest import INVERSION
from tests.convert.test_vcd import BODY, HEAD, SIGNALS
from tests.fuzz.of_logs import is_inert, tried
from tests.fuzz.target import Target
from tests.history import past
from tracelens.analysis import analyse
from tracelens.convert.kinds import to_log
from tracelens.convert.mapping_toml import parse_mapping
from tracelens.convert.parquet import to_parquet
from tracelens.engine import simulate
from tracelens.engine.check import check
from tracelens.exercises import KINDS, form, make, mark, read_form
from tracelens.formats.budgets_text import write as budgets_text
from tracelens.formats.system_toml import apply
from tracelens.formats.taskset_toml import taskset
from tracelens.formats.toml_schema import parse_toml
from tracelens.history import store
from tracelens.history.trends import trends
from tracelens.log import read_bytes
from tracelens.model.results import Timeline
from tracelens.reconstruct import reconstruct
from tracelens.report import past as of_the_past
from tracelens.report import past_json, scheduled, scheduled_json, text, verdicts, verdicts_json
from tracelens.report.document import Document
from tracelens.sealed import write_table
from tracelens.theory import analyse_set
from tracelens.units import NS_PER_MS
from tracelens.verdicts import judge_by, suggest

SAMPLES = Path(__file__).parents[2] / "sample_traces"
CUT = b"\n%%\n"
"""Between the parts of an input that is several files."""
MOST_EVENTS = 2000


@cache
def small_run() -> Timeline:
    """A small sound log with a late job and an inversion."""
    log = read_bytes(INVERSION.encode(), "run.csv")
    return reconstruct(log)


def shown(page: Document) -> None:
    """A document on a screen is inert."""
    screen = io.StringIO()
    text.show(page, screen)
    is_inert(screen.getvalue())


def _text(data: bytes) -> str:
    return data.decode("utf-8", "replace")


# ------------------------------------------------------------------ TOML


def system(data: bytes) -> None:
    """A system file over a log, and what is then measured."""
    run = small_run()

    def act() -> None:
        declared = apply(run.system, parse_toml(_text(data), "s.toml"), known=["q1", "i1"])
        analyse(reconstruct(run.log, declared))

    tried(act)


def budgets(data: bytes) -> None:
    """Limits held against a run, in every form that verdicts have."""

    def act() -> None:
        judged = judge_by(small_run(), parse_toml(_text(data), "b.toml"))
        shown(verdicts.document(judged))
        msgspec.json.decode(verdicts_json.encode(judged))

    tried(act)


def task_set(data: bytes) -> None:
    """A task set run for a while, and analysed."""

    def read() -> None:
        given = taskset(parse_toml(_text(data), "set.toml"))
        tried(lambda: _simulated(given))
        tried(lambda: _scheduled(given))

    tried(read)


def _simulated(given: object) -> None:
    done = simulate(given, until_ns=20 * NS_PER_MS, most_events=MOST_EVENTS)
    log = read_bytes(done.log, "made")
    assert not len(log.unused)


def _scheduled(given: object) -> None:
    check(given, to_run=False)
    found = analyse_set(given)
    if found.tasks:
        scheduled_json.encode(found, "set.toml", None)
        shown(scheduled.document(found, "set"))


_SYSTEM = b"""[clock]
hz = 1000000
bits = 32
late_us = 10
[priority]
order = "higher_first"
[policy]
name = "fixed"
[cores.main]
id = 0
[tasks.needle_select]
priority = 3
period_us = 40
deadline_us = 20.5
stack_bytes = 100
activation = "delay"
[tasks.link]
separation_us = 1
idle = false
[locks.flash_bus]
protocol = "ceiling"
ceiling = 3
[queues.q1]
depth = 3
[isrs.i1]
priority = 1
[chains.stitch]
path = ["archive", "needle_select", "mark:log_end"]
deadline_us = 30
[power]
active_ma = 10
idle_ma = 1
sleep_ma = 0.1
battery_mah = 200
[power.modes]
deep = 0.01
[run]
board = "a"
[budgets.findings]
trend_z = 3
"""

_KEYS = b"""id priority period_us separation_us offset_us jitter_us every releases_us most_jobs body
execution deadline_us stack_bytes activation core idle sections stack_use stack_per_us pend protocol
ceiling depth full path switch_us tick_us tick_cost_us sleep wake_us clock_stops active_ma idle_ma
sleep_ma modes wake_uc fixed_ma battery_mah seed until_us hz bits late_us order name preemptive
slice_us at_most at_least of severity reason waiver until tolerated_loss"""
_VALUES = (
    b"0", b"1", b"-1", b"1.5", b"1e300", b"inf", b"nan", b"true", b'"x"', b"[]", b"{}",
    b"1979-05-27", b"9223372036854775807", b"99999999999999999999", b'["run 5"]', b'"5..9 tail"',
    b'"3..4"', b"0.0", b"1e-9", b'""', b'"delay"', b'"activate"', b'["a","a"]',
    b"{ a = 1 }", b'"\\u0000"',
    b"07:32:00",
)  # fmt: skip
_LINES = (
    *(key + b" = " + value for key in _KEYS.split() for value in _VALUES[:6]),
    *(key + b" = " + value for key in (b"period_us", b"ceiling", b"at_most") for value in _VALUES),
    *(b"[" + head + b"]" for head in (
        b"clock", b"priority", b"policy", b"cores.a", b"tasks.a", b"isrs.a", b"locks.a",
        b"queues.a", b"chains.a", b"kernel", b"simulation", b"power", b"power.modes", b"run",
        b"budgets", b"budgets.log", b"budgets.tasks.needle_select", b"budgets.tasks.'*'",
        b"budgets.phases.a", b"budgets.phases.a.tasks.link", b"budgets.findings",
        b"budgets.locks.'*'", b"budgets.chains.stitch", b"budgets.cores.0", b"budgets.queues.'*'",
        b"budgets.isrs.'*'",
        b"tasks.a.sections", b"[tasks.a]", b"tasks.'\\u001b[2J'", b'tasks."<b>"',
    )),
    b'body = ["lock m", "run 3", "unlock m"]', b'body = ["send q", "run 1..3 tail 2"]',
    b'body = ["receive q", "suspend 1..4 for adc", "mark x begin", "run 1", "activate b"]',
    b'every = "5..9"', b"releases_us = [0, 1.5, 1e9]", b'policy.name = "edf"',
    b"kernel.tick_us = 1",
    b'policy.name = "round_robin"', b"policy.slice_us = 0.5", b"kernel.sleep = true", b"'''",
    b'"""',
)  # fmt: skip


def _sets() -> list[bytes]:
    files = [*sorted(SAMPLES.glob("*.toml")), *sorted((SAMPLES / "classroom").glob("*.toml"))]
    return [file.read_bytes() for file in files if b"[tasks" in file.read_bytes()]


def _systems() -> list[bytes]:
    return [_SYSTEM, b"", b"[tasks.link]\npriority = 7\n", *_sets()[:3]]


def _budgets() -> list[bytes]:
    told = budgets_text(suggest([small_run()], 0.2).budgets, suggest([small_run()], 0.2).left_out)
    whole = (SAMPLES / "knitting_budgets.toml").read_bytes()
    patterned = (
        b"[budgets.tasks.'*']\nmisses = { at_most = 1, of = 10 }\nresponse_p99_us = 20\n"
        b'severity = "warning"\nreason = "why"\n'
        b'waiver = { until = 2027-01-31, reason = "soon" }\n'
    )
    return [told.encode(), whole, patterned]


def answers(data: bytes) -> None:
    """A filled form and its marks."""

    def act() -> None:
        with tempfile.NamedTemporaryFile(suffix=".toml") as file:
            Path(file.name).write_bytes(data)
            exercise, given = read_form(file.name)
        for one in mark(exercise, given):
            assert one.verdict in ("right", "wrong", "not answered")

    tried(act)


def _forms() -> list[bytes]:
    made = [make(kind, 1) for kind in KINDS]
    filled = []
    for one in made:
        paper = form(one)
        for question in one.questions:
            answer = question.answer
            told = list(answer) if isinstance(answer, tuple) else answer
            said = msgspec.json.encode(told).decode()
            paper = paper.replace(f'{question.key} = ""', f"{question.key} = {said}")
        filled.append(paper.encode())
    return [*(form(one).encode() for one in made), *filled]


# ------------------------------------------------------------------ other recordings


def mapped(data: bytes) -> None:
    """A mapping and a text, or a value change dump: what comes out is a log."""
    mapping, _, source = data.partition(CUT)

    def act() -> None:
        made = to_log(source, "other", parse_mapping(_text(mapping), "m.toml"))
        tried(lambda: read_bytes(made.text, "made"))

    tried(act)


_MAPPING = rb"""[source]
skip = '^#'
time = "s"
[log]
declare = ["priority order=higher_first", "task id=a name=a priority=1"]
[[line]]
pattern = '^\[(?P<time>[0-9.]+)\] cpu(?P<core>\d) switch -> (?P<who>\w+)'
events = ["start {who}"]
[[line]]
pattern = '^\[(?P<time>[0-9.]+)\] new (?P<who>\w+) (?P<prio>\S*)'
declare = "task id={who} priority={prio}"
first_per = "who"
[[line]]
pattern = '^\[(?P<time>[0-9.]+)\] (?P<what>\w+) (?P<who>.+)'
events = ["{what} {who}", "mark {who} 3"]
"""
_OTHER = b"""# boot
[0.001200] new needle 3
[0.001200] cpu0 switch -> needle
[0.001203] cpu1 switch -> link
[0.001460] wait needle delay
[0.5] release needle x
[1] lock a,b "c"
what
"""
_MAPPING_WORDS = (
    *(f'time = "{unit}"'.encode() for unit in ("ticks", "s", "ms", "us", "ns")),
    b"[source]", b"[log]", b"[[line]]", b"[[signal]]", b'events = ["start {who} {what}"]',
    b'events = []', b"pattern = '(?P<time>.*)'", b"pattern = '(?P<time>x)?(?P<core>.*)'",
    b"pattern = '(?P<time>\\d+)(?P<time>\\d+)'", b"pattern = '(?P<a>('", b'first_per = "time"',
    b"skip = '.'", b'declare = "clock hz={time}"', b"pattern = '((((a{9}){9}){9}){9}){9}'",
    b"[99999999999999999999] x y", b"[1.2.3] a b", b"[.5] a b", b"[] a b", b"core = 3",
    b"core = -1",
    b'name = "running_a"', b'rise = ["start a"]', b'fall = ["start -"]',
    b'values = { "1" = ["mark one"], "xz" = ["mark two"] }', b"%%", b"$timescale 1 fs $end",
    b"$timescale 100 ps $end", b"$scope module a $end", b"$upscope $end", b"$enddefinitions $end",
    b"$var wire 4 ! running_a $end", b"$var real 64 % r $end", b"$var string 8 s t $end",
    b"#0", b"#5", b"#18446744073709551616", b"#-1", b"1!", b"0!", b"x!", b"b101 !", b"bxz !",
    b"r1.5 !", b"rnan !", b"$dumpvars", b"$end", b"$comment x $end", b"$date $end", b"sabc !",
)  # fmt: skip


def _mappings() -> list[bytes]:
    dump = (HEAD + BODY).encode()
    pins = b'[log]\ndeclare = ["priority order=higher_first"]\n'
    one = (
        pins + b'[[signal]]\nname = "running_a"\nrise = ["start a"]\nfall = ["start -"]\ncore = 1\n'
    )
    return [
        _MAPPING + CUT + _OTHER,
        (SAMPLES / "mapping" / "text.toml").read_bytes()[:1500] + CUT + b"1,0,in,a,\n2,0,in,b,\n",
        pins + SIGNALS.encode() + CUT + dump,
        one + CUT + dump,
    ]


def recording(data: bytes) -> None:
    """What shows by itself what it is: a log, the probe's stream or memory, Parquet, or nothing."""

    def act() -> None:
        made = to_log(data, "in", None)
        tried(lambda: read_bytes(made.text, "made", most=1 << 24))

    tried(act)


@cache
def _parquet() -> bytes:
    return to_parquet(INVERSION.encode(), "run.csv")


def _recordings() -> list[bytes]:
    from tests.fuzz.of_channels import dumps, streams

    return [_parquet(), INVERSION.encode(), *dumps()[:2], *streams()[:2]]


def parquet(data: bytes) -> None:
    """A Parquet file of right form with anything in it: columns as named, of drawn types."""
    lines = data.split(b"\n")
    kinds = (*_TYPES, *_TYPES)[lines[0][0] % len(_TYPES) if lines[0] else 0 :]
    names = ["time", "core", "event", "subject", "value"][: 5 - (len(lines[0]) % 7 == 6)]
    rows = [_text(line).split(",") for line in lines[2:]]
    cells = {
        name: [row[n] if n < len(row) else None for row in rows] for n, name in enumerate(names)
    }
    frame = pl.DataFrame(cells, schema=dict.fromkeys(names, pl.String))
    which = lines[0][1:] + b"\0" * 5
    made = frame.with_columns(
        _cast(name, kinds[which[n] % len(_TYPES)] if which[n] else None)
        for n, name in enumerate(names)
    )
    told = {"tracelens.declarations": _text(lines[1])} if len(lines) > 1 and lines[1] else None
    recording(write_table(made, told))


_TYPES: tuple[Callable[[pl.Expr], pl.Expr], ...] = (
    lambda c: c.cast(pl.UInt64, strict=False),
    lambda c: c.cast(pl.Categorical),
    lambda c: c.cast(pl.Float64, strict=False),
    lambda c: c.cast(pl.Binary),
    lambda c: pl.concat_list(c),
    lambda c: pl.struct(c),
    lambda c: c.cast(pl.Int8, strict=False),
    lambda c: c.is_null(),
    lambda c: c.cast(pl.Int64, strict=False).cast(pl.Datetime),
    lambda c: pl.lit(None),
    lambda c: c.cast(pl.Int64, strict=False).cast(pl.Duration),
    lambda c: c.cast(pl.UInt64, strict=False).cast(pl.Decimal(38, 2), strict=False),
)


def _cast(name: str, kind: Callable[[pl.Expr], pl.Expr] | None) -> pl.Expr:
    return (pl.col(name) if kind is None else kind(pl.col(name))).alias(name)


def _tables() -> list[bytes]:
    told = msgspec.json.encode([(0, line) for line in INVERSION.split("\n")[:9]])
    rows = "\n".join(INVERSION.split("\n")[9:]).encode()
    return [b"\0\n" + told + b"\n" + rows, b"\0\1\1\2\2\2\n" + told + b"\n" + rows, b"\n\n" + rows]


def history(data: bytes) -> None:
    """A directory with a file that is one of a history, or is changed: what is told of it."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for number, file in enumerate(_runs()[:3]):
            (folder / f"run-{number}.parquet").write_bytes(file)
        (folder / "run-x.parquet").write_bytes(data)
        tried(lambda: _trend(folder))


def history_rows(data: bytes) -> None:
    """A file of a history whose columns have drawn values or types."""
    frame = pl.read_parquet(io.BytesIO(_runs()[3]))
    for row in data.split(b"\n")[:6]:
        words = _text(row).split(",")
        if len(words) < 3 or not words[0].isdecimal():
            continue
        name = frame.columns[int(words[0]) % frame.width]
        kind = _TYPES[int(words[1]) % len(_TYPES)] if words[1].isdecimal() else None
        told = pl.Series(name, [words[2]]).cast(pl.String)
        dtype = frame[name].dtype
        try:
            value = pl.lit(told.cast(dtype, strict=False)[0], dtype).alias(name)
            frame = frame.with_columns(_cast(name, kind) if kind else value)
        except pl.exceptions.PolarsError:
            frame = frame.drop(name)
        if not frame.width:
            break
    history(write_table(frame))


def _trend(folder: Path) -> None:
    found = store.read(folder)
    shown(of_the_past.shown(found, "dir"))
    table = trends(found, 0.05)
    shown(of_the_past.trend(found, table, 0.05, "dir"))
    msgspec.json.decode(past_json.encode(found, table))


@cache
def _runs() -> list[bytes]:
    with tempfile.TemporaryDirectory() as name:
        folder = past.put(Path(name), 10)
        return [file.read_bytes() for file in sorted(folder.glob("run-*"))]


TARGETS = {
    "system": Target(system, _systems, _LINES),
    "budgets": Target(budgets, _budgets, _LINES),
    "task_set": Target(task_set, _sets, _LINES),
    "answers": Target(answers, _forms, (*_LINES, *(b'kind = "%b"' % k.encode() for k in KINDS))),
    "mapped": Target(mapped, _mappings, _MAPPING_WORDS),
    "recording": Target(recording, _recordings, text=False),
    "parquet": Target(parquet, _tables, (b"1000,0,start,t1,", b'[[0,"#tracelens 1"],[9,"#x"]]')),
    "history": Target(history, _runs, text=False),
    "history_rows": Target(
        history_rows, lambda: [b"0,,x", b"3,1,2\n4,,1e9", *(b"%d,,7" % n for n in range(20))]
    ),
}
