"""Counter values become times: wraps, late records, restarts, several counters, nanoseconds.

The truth in each test is the time from which the counter value was made: modular arithmetic and
exact fractions, both textbook.
"""

import gzip
import json
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.log.texts import RECORDINGS, log_text, rows
from tests.random_logs import random_log
from tests.reference.axis import lay_out
from tests.reference.lines import read as read_text
from tracelens.errors import LogError
from tracelens.log import read, read_bytes
from tracelens.log.axis import to_ns
from tracelens.log.clock import Counters, unwrap
from tracelens.model.system import Clock

NS_PER_S = 1_000_000_000


@given(
    st.integers(1, 9_000_000_000),
    st.lists(st.integers(0, 2**61), min_size=1, max_size=20),
)
def test_ticks_become_whole_nanoseconds_rounded_down(hz: int, ticks: list[int]) -> None:
    short = [value for value in ticks if value // hz < 9_000_000_000] or [0]
    exact = [Fraction(value * NS_PER_S, hz) for value in short]
    assert to_ns(np.array(short), hz, "log").tolist() == [int(ns) for ns in exact]


@pytest.mark.parametrize("hz", [1, 3, 32_768, 1_000_000, 25_000_000, 8_999_999_999])
def test_a_log_gives_the_same_nanoseconds_whether_read_in_one_go_or_through_the_arrays(
    hz: int,
) -> None:
    """A `wake` that slept no tick but the last makes the reader take the long way."""
    ticks = sorted([7, 8, 60, hz + 60, 3 * hz + 61, 100 * hz])
    lines = [f"{t},0,mark,a," for t in ticks]
    short = read_bytes(log_text(*lines, clock=f"hz={hz}"), "log").events["time_ns"].to_list()
    long_way = read_bytes(log_text(*lines, f"{100 * hz},0,wake,0,1", clock=f"hz={hz}"), "log")
    assert short == [(t - ticks[0]) * NS_PER_S // hz for t in ticks]
    assert long_way.events["time_ns"].to_list()[:-1] == short


@given(
    bits=st.sampled_from([8, 16, 24, 32, 60, 61, 63, 64]),
    start=st.integers(0, 2**64 - 1),
    steps=st.lists(st.floats(0, 0.49), min_size=1, max_size=40),
)
def test_any_counter_that_is_never_silent_for_half_its_range_is_unwrapped(
    bits: int, start: int, steps: list[float]
) -> None:
    span = 2 ** min(bits, 50)
    truth = np.cumsum([0, *(int(step * span) for step in steps)])
    raw = np.array([(start + int(t)) % 2**bits for t in truth], np.uint64)
    core = np.zeros(len(raw), np.uint8)
    clock = Clock(hz=NS_PER_S, bits=bits, late_ns=0)
    back = unwrap(raw, core, Counters.of((clock,), raw, core), [], "log")
    assert (back.ticks - back.ticks[0]).tolist() == truth.tolist()
    assert back.restarts == []


@given(st.data())
def test_late_records_on_any_core_are_put_in_order_across_wraps(data: st.DataObject) -> None:
    """Each record is written up to 100 ticks after its time, through a counter of 12 bits."""
    steps = data.draw(st.lists(st.integers(0, 900), min_size=2, max_size=60))
    times = np.cumsum(steps) + 5000
    late = data.draw(st.lists(st.integers(0, 100), min_size=len(times), max_size=len(times)))
    late[0] = 0  # what comes before the first line of a log cannot be told from what comes after
    written = sorted(range(len(times)), key=lambda i: (times[i] + late[i], i))
    lines = [f"{times[i] % 4096},{i % 2},mark,m{i}," for i in written]
    log = read_bytes(log_text(*lines, clock="hz=1000000 bits=12 late_us=100"), "log")
    assert log.restarts == ()
    expected = sorted(written, key=lambda i: (times[i], written.index(i)))
    assert log.events["subject"].to_list() == [f"m{i}" for i in expected]
    assert log.events["time_ns"].to_list() == [
        1000 * (int(times[i]) - int(times.min())) for i in expected
    ]


@pytest.mark.parametrize("name", ["kernel_healthy", "kernel_lossy", "kernel_wrap16"])
def test_recordings_span_the_time_that_their_programs_measured(name: str) -> None:
    """`first_record_t` and `last_record_t` are from an unwrapped 25 MHz counter beside the log."""
    truth = json.loads(gzip.decompress((RECORDINGS / f"{name}.truth.json.gz").read_bytes()))
    measured = truth["ground_truth"]["last_record_t"] - truth["ground_truth"]["first_record_t"]
    log = read(RECORDINGS / f"{name}.csv.gz", strict=True)
    one_tick = NS_PER_S // log.declared.clocks[0].hz
    assert abs(log.events["time_ns"][-1] - measured * 40) <= one_tick
    assert (log.restarts, log.warnings) == ((), ())


@pytest.mark.parametrize("seed", range(60))
def test_random_logs_are_laid_out_as_the_slow_reading_lays_them_out(seed: int) -> None:
    """`tests/reference` reads the same definitions with plain lists, written apart from this."""
    text = random_log(seed, events=120, cores=1 + seed % 2, messy=seed % 3 > 0)
    log, axis = read_bytes(text.encode(), "log"), lay_out(read_text(text))
    assert rows(log, "time_ns", "core", "event", "line", "boot") == [
        (event.time, event.core, event.word, event.line, event.boot) for event in axis.events
    ]
    assert log.restarts == tuple(axis.boot_starts[1:])


def test_equal_times_keep_the_order_of_the_lines() -> None:
    log = read_bytes(log_text("9,0,mark,z,", "9,1,mark,a,", "8,0,mark,b,", "9,0,mark,c,"), "log")
    assert log.events["subject"].to_list() == ["b", "z", "a", "c"]
    assert log.start_ticks == 8


def test_a_step_back_of_exactly_late_us_is_late_and_of_one_tick_more_a_restart() -> None:
    late = read_bytes(log_text("50000,0,mark,a,", "40000,0,mark,b,"), "log")
    again = read_bytes(log_text("50000,0,mark,a,", "39999,0,mark,b,"), "log")
    assert (late.restarts, again.restarts) == ((), (0,))


def test_a_step_back_of_more_than_half_the_range_is_a_wrap_whatever_the_core() -> None:
    log = read_bytes(
        log_text("60000,0,mark,a,", "100,1,mark,b,", "59999,0,mark,c,", clock="hz=1000000 bits=16"),
        "log",
    )
    assert rows(log, "time_ns", "subject") == [
        (0, "c"),
        (1000, "a"),
        (5_637_000, "b"),
    ]


def test_half_the_range_divides_a_wrap_from_a_restart() -> None:
    """Of 65536: back by 32767 and by 32768, which is not more than half, and by 32769."""
    for back, boots in ((32_767, 2), (32_768, 2), (32_769, 1)):
        lines = ["60000,0,mark,a,", f"{60_000 - back},0,mark,b,"]
        log = read_bytes(log_text(*lines, clock="hz=1000000 bits=16"), "log")
        assert log.events["boot"].n_unique() == boots


def test_counters_of_64_bits_may_begin_anywhere() -> None:
    near = 2**64 - 5
    log = read_bytes(
        log_text(f"{near},0,mark,a,", "5,0,mark,b,", clock="hz=1000000000 bits=64"), "log"
    )
    assert log.events["time_ns"].to_list() == [0, 10]
    assert log.start_ticks == near
    rising = read_bytes(
        log_text(f"{near},0,mark,a,", f"{near + 4},0,mark,b,", clock="hz=1000"), "log"
    )
    assert rising.events["time_ns"].to_list() == [0, 4_000_000]


@pytest.mark.parametrize("hz", [1000, 9_000_000_000])
@pytest.mark.parametrize("last", ["1,0,mark,c,", "18446744073709551610,0,mark,c,"])
def test_a_damaged_time_of_a_wide_counter_is_an_error_if_it_spans_centuries(
    hz: int, last: str
) -> None:
    with pytest.raises(LogError, match="the log spans more time"):
        read_bytes(
            log_text("1,0,mark,a,", "9300000000000000000,0,mark,b,", last, clock=f"hz={hz}"), "log"
        )


def test_slept_ticks_count_from_the_wake_on_for_every_core_of_that_counter() -> None:
    log = read_bytes(
        log_text(
            "100,0,sleep,0,",
            "101,0,wake,0,50",
            "101,1,mark,same_tick,",
            "100,1,mark,before,",
            "200,1,mark,after,",
        ),
        "log",
    )
    assert rows(log, "time_ns", "subject") == [
        (0, "0"),
        (0, "before"),
        (51_000, "0"),
        (51_000, "same_tick"),
        (150_000, "after"),
    ]


def test_slept_ticks_of_a_counter_of_its_own_count_for_that_core() -> None:
    log = read_bytes(
        log_text(
            "100,0,mark,a,",
            "7,1,sleep,1,",
            "8,1,wake,1,1000",
            "150,0,mark,b,",
            declared="#clock core=1 hz=1000000\n",
        ),
        "log",
    )
    assert rows(log, "time_ns", "core") == [(0, 0), (0, 1), (50_000, 0), (1_001_000, 1)]


def test_a_core_with_its_own_counter_is_tied_to_the_lines_before_it_in_each_boot() -> None:
    log = read_bytes(
        log_text(
            "9,1,mark,first,",
            "500,0,mark,a,",
            "700,0,mark,b,",
            "#tracelens 1",
            "100,0,mark,c,",
            "130,0,mark,d,",
            "5,1,mark,e,",
            "7,1,mark,f,",
            clock="hz=1000000",
            declared="#clock core=1 hz=1000\n",
        ),
        "log",
    )
    assert rows(log, "boot", "time_ns", "subject") == [
        (0, 0, "first"),
        (0, 0, "a"),
        (0, 200_000, "b"),
        (1, 200_000, "c"),
        (1, 230_000, "d"),
        (1, 230_000, "e"),
        (1, 2_230_000, "f"),
    ]


def test_a_restart_on_one_counter_is_a_restart_of_the_target() -> None:
    log = read_bytes(
        log_text(
            "50000,0,mark,a,",
            "9,1,mark,b,",
            "90000,0,mark,c,",
            "100,0,mark,d,",
            "3,1,mark,e,",
            declared="#clock core=1 hz=1000000\n",
        ),
        "log",
    )
    assert log.events["boot"].to_list() == [0, 0, 0, 1, 1]
    assert log.restarts == (40_000_000,)


def test_more_restarts_than_can_be_counted_are_an_error() -> None:
    lines = ["20000,0,mark,a,", "1,0,mark,a,"] * 65_536
    with pytest.raises(LogError, match="time steps back 65536 times by more than late_us"):
        read_bytes(log_text(*lines), "log")


def test_ticks_slept_for_centuries_are_an_error() -> None:
    lines = ["1,0,wake,0,9000000000000000000", "2,0,wake,0,9000000000000000000"]
    with pytest.raises(LogError, match="the log spans more time"):
        read_bytes(log_text(*lines), "log")


def test_boots_that_sum_up_to_centuries_are_an_error() -> None:
    boot = ["#tracelens 1", "1,0,mark,a,", "8000000000,0,mark,b,"]
    with pytest.raises(LogError, match="the log spans more time"):
        read_bytes(log_text(*boot, *boot, clock="hz=1"), "log")
