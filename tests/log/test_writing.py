"""What is written reads back as the same events and the same declarations."""

import gzip
import io
from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.log.texts import BAD_LOGS, RECORDINGS, SAID, log_text, rows
from tests.random_logs import random_log
from tracelens.errors import LogError, UsageError
from tracelens.log import read, read_bytes, render_declarations, write
from tracelens.model.events import EVENT_WORDS, EVENTS
from tracelens.model.log import Log
from tracelens.model.system import Clock, Core, Isr, Lock, Queue, System, Task

MICRO = Path(__file__).parent.parent / "micro"


def written(log: Log | pl.DataFrame, declared: System, **options: int) -> bytes:
    target = io.BytesIO()
    write(log, declared, target, **options)
    return target.getvalue()


def without_places(system: System) -> System:
    """Lines move when a log is written anew; what they declare does not."""
    return replace(
        system,
        tasks=tuple(replace(task, line=None) for task in system.tasks),
        isrs=tuple(replace(isr, line=None) for isr in system.isrs),
        locks=tuple(replace(lock, line=None) for lock in system.locks),
        queues=tuple(replace(queue, line=None) for queue in system.queues),
        cores=tuple(replace(core, line=None) for core in system.cores),
        unknown=tuple(((0, 0), text) for _, text in system.unknown),
    )


def assert_same(log: Log, again: Log) -> None:
    assert rows(again) == rows(log)
    assert without_places(again.declared) == without_places(log.declared)
    assert again.restarts == log.restarts
    assert again.unused.is_empty()


@pytest.mark.parametrize("name", sorted(path.name for path in MICRO.glob("*.csv")))
def test_a_log_that_was_read_is_written_as_it_was(name: str) -> None:
    log = read(MICRO / name)
    again = read_bytes(written(log, log.declared), "again", strict=True)
    assert_same(log, again)
    assert again.start_ticks == log.start_ticks
    assert written(again, again.declared) == written(log, log.declared)


@pytest.mark.parametrize("name", ["kernel_healthy", "kernel_lossy", "kernel_wrap16"])
def test_recordings_survive_writing(name: str) -> None:
    log = read(RECORDINGS / f"{name}.csv.gz")
    assert_same(log, read_bytes(written(log, log.declared), "again", strict=True))


@pytest.mark.parametrize(
    "name",
    [
        "header_repeated.csv",
        "time_steps_back.csv",
        "wraps.csv",
        "late_records.csv",
        "counter_sleeps.csv",
        "declarations.csv",
        "binary_noise.csv",
        "values_missing.csv",
        "silence.csv",
    ],
)
def test_a_damaged_log_is_written_without_its_damage(name: str) -> None:
    log = read(BAD_LOGS / name)
    assert_same(log, read_bytes(written(log, log.declared), "again", strict=True))


@pytest.mark.parametrize("seed", range(40))
def test_random_logs_survive_writing(seed: int) -> None:
    text = random_log(seed, events=60, cores=1 + seed % 2, messy=seed % 2 == 1)
    log = read_bytes(text.encode(), "log")
    assert_same(log, read_bytes(written(log, log.declared), "again", strict=True))


WORD = st.text(
    st.characters(
        codec="utf-8", exclude_categories=("Cc", "Zs", "Zl", "Zp"), exclude_characters=',"'
    ),
    min_size=1,
    max_size=6,
)
NAME = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc",), exclude_characters='"'),
    min_size=1,
    max_size=8,
)
VALUES = {
    **dict.fromkeys(("request", "lock", "unlock", "send", "receive"), WORD),
    **dict.fromkeys(("mask", "unmask"), st.sampled_from(["irq", "sched"])),
    **dict.fromkeys(("stack", "lost"), st.integers(0, 2**63 - 1).map(str)),
    "priority": st.integers(-(2**63), 2**63 - 1).map(str),
    "wake": st.none(),
}
EVENT_ROW = st.sampled_from(EVENT_WORDS).flatmap(
    lambda word: st.tuples(
        st.integers(0, 10**9),
        st.integers(0, 255),
        st.just(word),
        WORD if word not in ("sleep", "wake", "lost") else st.none() | WORD,
        VALUES.get(word, st.none() | WORD),
    )
)
WHOLE = st.integers(-(2**63) + 1, 2**63 - 1)
NS = st.integers(1, 10**15)


def maybe(strategy: st.SearchStrategy) -> st.SearchStrategy:
    return st.none() | strategy


def things(record: type, **fields: st.SearchStrategy) -> st.SearchStrategy:
    """Records with ids and names of their own."""
    one = st.builds(record, **fields)
    return st.lists(one, max_size=3, unique_by=(lambda r: r.id, lambda r: r.name)).map(tuple)


SYSTEM = st.builds(
    System,
    clocks=st.builds(
        lambda hz, late: (Clock(hz=hz, late_ns=late),),
        st.sampled_from([1_000_000_000, 25_000_000, 1_000_000, 32_768]),
        st.integers(0, 10**12),
    ),
    order=st.sampled_from(["higher_first", "lower_first"]),
    policy=st.sampled_from(["fixed", "edf", "round_robin"]),
    tasks=things(
        Task,
        id=WORD,
        name=NAME,
        priority=maybe(WHOLE),
        period_ns=maybe(NS),
        separation_ns=maybe(NS),
        offset_ns=maybe(st.integers(0, 10**15)),
        deadline_ns=maybe(NS),
        stack_bytes=maybe(st.integers(0, 2**40)),
        activation=maybe(WORD),
        core=maybe(st.integers(0, 255)),
        idle=maybe(st.booleans()),
    ),
    isrs=things(Isr, id=WORD, name=NAME, priority=maybe(WHOLE)),
    locks=things(
        Lock,
        id=WORD,
        name=NAME,
        protocol=maybe(st.sampled_from(["none", "inherit", "ceiling"])),
        ceiling=maybe(WHOLE),
    ),
    queues=things(Queue, id=WORD, name=NAME, depth=maybe(st.integers(0, 2**40))),
    cores=things(Core, id=st.integers(0, 255), name=NAME),
    run=st.dictionaries(
        WORD.filter(lambda key: "=" not in key and not any(c.isspace() for c in key)),
        st.just("") | NAME,
        max_size=3,
    ),
    notes=st.lists(NAME, max_size=2).map(tuple),
)


@settings(max_examples=60)
@given(st.lists(EVENT_ROW, max_size=12), SYSTEM, st.integers(0, 2**64 - 1))
def test_any_events_and_declarations_survive_writing(
    events: list[tuple[int, int, str, str | None, str | None]], system: System, start: int
) -> None:
    hz = system.clocks[0].hz
    ticks = sorted([*(row[0] for row in events[1:]), *([0] if events else [])])
    table = pl.DataFrame(
        [(t * 1_000_000_000 // hz, *row[1:]) for t, row in zip(ticks, events, strict=True)],
        schema=["time_ns", "core", "event", "subject", "value"],
        orient="row",
        schema_overrides={
            name: EVENTS[name] for name in ("time_ns", "core", "event", "subject", "value")
        },
    )
    again = read_bytes(written(table, system, start_ticks=start), "log", strict=True)
    assert rows(again, *SAID[1:]) == table.rows()
    assert without_places(again.declared) == system
    assert again.start_ticks == (start if events else 0)


@given(
    st.lists(st.integers(1, 10**9), min_size=1, max_size=20),
    st.sampled_from([3, 32_768, 700_000_001]),
)
def test_a_piece_from_the_middle_keeps_its_times_to_the_nanosecond_below(
    steps: list[int], hz: int
) -> None:
    """Where a tick is no whole number of nanoseconds; elsewhere times are exact."""
    ticks = [5 + sum(steps[:n]) for n in range(len(steps))]
    ns = [tick * 1_000_000_000 // hz for tick in ticks]
    table = pl.DataFrame({"time_ns": ns, "core": 0, "event": "mark", "subject": "a", "value": None})
    again = read_bytes(written(table, System(clocks=(Clock(hz=hz),))), "log")
    moved = [b - (a - ns[0]) for a, b in zip(ns, again.events["time_ns"], strict=True)]
    assert set(moved) <= {0, -1}


def test_an_id_declared_again_is_written_where_it_was_declared() -> None:
    log = read_bytes(
        log_text(
            "1,0,start,t1,", "#task id=t1 name=b", "2,0,start,t1,", declared="#task id=t1 name=a\n"
        ),
        "log",
    )
    text = written(log, log.declared).decode()
    assert text.splitlines()[-3:] == ["1,0,start,t1,", "#task id=t1 name=b", "2,0,start,t1,"]


def test_declarations_are_written_in_canonical_form() -> None:
    system = System(
        clocks=(Clock(hz=1_000_000, bits=32), Clock(hz=5, core=1, late_ns=1500)),
        order="lower_first",
        policy="edf",
        tasks=(Task("t1", "needle select", priority=3, period_ns=2_000_500, idle=False),),
        cores=(Core(0, "main"),),
        run={"build": "4f2c9e", "note": ""},
        notes=("a b",),
        unknown=(((0, 7), "#colour theme=dark"),),
    )
    assert render_declarations(system) == [
        "#tracelens 1",
        '#run build=4f2c9e note=""',
        "#clock hz=1000000 bits=32",
        "#clock hz=5 bits=64 late_us=1.5 core=1",
        "#priority order=lower_first",
        "#policy name=edf",
        "#core id=0 name=main",
        '#task id=t1 name="needle select" priority=3 period_us=2000.5 idle=no',
        '#note text="a b"',
        "#colour theme=dark",
    ]


def test_counters_of_their_own_are_written_as_one_clock_of_the_same_times() -> None:
    log = read(BAD_LOGS / "own_clocks.csv")
    again = read_bytes(written(log, log.declared), "again", strict=True)
    assert rows(again) == rows(log)
    assert again.declared.clocks == (Clock(hz=1_000_000_000),)


@pytest.mark.parametrize("suffix", ["", ".gz", ".zst"])
def test_a_path_says_how_to_compress(suffix: str, tmp_path: Path) -> None:
    log = read(BAD_LOGS / "wraps.csv")
    target = tmp_path / f"log.csv{suffix}"
    write(log, log.declared, target)
    assert rows(read(target)) == rows(log)
    magic = {"": b"#tracelens", ".gz": b"\x1f\x8b", ".zst": b"\x28\xb5\x2f\xfd"}[suffix]
    assert target.read_bytes().startswith(magic)
    first = target.read_bytes()
    write(log, log.declared, target)
    assert target.read_bytes() == first
    assert suffix != ".gz" or gzip.decompress(first) == written(log, log.declared)


def test_a_dash_is_standard_output(capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    log = read(BAD_LOGS / "wraps.csv")
    write(log, log.declared, "-")
    assert capfdbinary.readouterr().out == written(log, log.declared)


EVENT = {
    "time_ns": [0, 40],
    "core": [0, 0],
    "event": ["start"] * 2,
    "subject": ["a"] * 2,
    "value": [None] * 2,
}
FAST = System(clocks=(Clock(hz=25_000_000, bits=16),))


ODD_WORD = "a subject or value with a comma, a quote"
UNSAYABLE = [
    ({"time_ns": [0, 41]}, FAST, "found a time of 41 ns, expected a whole number of ticks of the"),
    ({"time_ns": [40, 0]}, FAST, "the events are not in order of time"),
    (
        {"time_ns": [0, 2_800_000]},
        FAST,
        "a silence that a counter of 16 bits at 25000000 Hz cannot",
    ),
    ({"time_ns": [0, 2**62]}, System(clocks=(Clock(hz=9 * 10**9),)), "too long for its clock"),
    ({"subject": ["a", "b,c"]}, FAST, ODD_WORD),
    ({"subject": ["a", 'b"']}, FAST, ODD_WORD),
    ({"subject": ["a", " b"]}, FAST, ODD_WORD),
    (
        {"subject": ["a", None]},
        FAST,
        "event 1 (start): no subject: expected what the event is about",
    ),
    ({"event": ["lost", "wake"], "value": ["1", "7"]}, FAST, "a wake tells of more ticks slept"),
    ({}, System(), "no #clock line"),
    ({}, replace(FAST, tasks=(Task("a", "a", priority=1),)), "no #priority order"),
    (
        {},
        replace(FAST, notes=('"',)),
        "#note cannot be written: found text='\"', expected no quote",
    ),
]


@pytest.mark.parametrize(("change", "declared", "message"), UNSAYABLE)
def test_what_the_format_cannot_say_is_an_error_before_anything_is_written(
    change: dict[str, list[object]], declared: System, message: str, tmp_path: Path
) -> None:
    with pytest.raises(LogError) as caught:
        write(pl.DataFrame(EVENT | change), declared, tmp_path / "log.csv")
    assert message in str(caught.value)
    assert caught.value.hint
    assert not (tmp_path / "log.csv").exists()


def test_a_target_that_cannot_be_opened_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="cannot be written: Is a directory"):
        write(pl.DataFrame(EVENT), FAST, tmp_path)
