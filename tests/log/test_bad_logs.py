"""Every way in which a log on real hardware differs from a clean one, with a small file of each.

Expected times are worked by hand from the file: microseconds from the first event.
"""

from typing import NamedTuple

import pytest

from tests.log.texts import BAD_LOGS, unused
from tracelens.errors import LogError
from tracelens.log import read


class Expected(NamedTuple):
    """The lines of the events in order of time, their times, boots, and what was not used."""

    lines: list[int]
    times_us: list[int]
    unused: dict[str, tuple[int, list[str]]]
    boots: list[int] | None = None


READ = {
    "carriage_returns.csv": Expected([4, 5, 6], [0, 10, 20], {}),
    "torn_last_line.csv": Expected([4, 5], [0, 10], {"torn last line": (1, ["6"])}),
    # `contr` could be any task's beginning; the log has no such word elsewhere
    "torn_word.csv": Expected([4, 5], [0, 10], {"torn last line": (1, ["6"])}),
    "torn_declaration.csv": Expected([4], [0], {"torn last line": (1, ["5"])}),
    # complete but for its line feed: t1 occurs elsewhere
    "no_final_line_feed.csv": Expected([4, 5, 6], [0, 10, 20], {}),
    "null_padding.csv": Expected([4, 5], [0, 10], {"torn last line": (1, ["6"])}),
    "binary_noise.csv": Expected(
        [4, 10, 12],
        [0, 20, 40],
        {
            "not UTF-8": (4, ["5", "6", "8", "11"]),
            "a subject or value that is no word": (1, ["7"]),
            "not a declaration": (1, ["9"]),
        },
    ),
    "lines_run_together.csv": Expected([5], [0], {"more than 5 fields": (3, ["4", "6", "7"])}),
    "unknown_words.csv": Expected(
        [4, 9], [0, 40], {"unknown event word": (4, ["5", "6", "7", "8"])}
    ),
    "bad_numbers.csv": Expected(
        [4, 14],
        [0, 50],
        {
            "time is not a number": (5, ["5", "6", "7", "8", "9"]),
            "core is not a number from 0 to 255": (3, ["10", "11", "12"]),
            "time is beyond the counter's bits": (1, ["13"]),
        },
    ),
    "values_missing.csv": Expected(
        [13, 14, 15, 16, 17],
        [0, 1, 2, 3, 4],
        {
            "no subject": (1, ["5"]),
            "no lock named": (1, ["6"]),
            "no queue named": (1, ["7"]),
            "priority is not a whole number": (1, ["8"]),
            "stack is not a number of bytes": (1, ["9"]),
            "lost without a count": (1, ["10"]),
            "mask is neither irq nor sched": (1, ["11"]),
            "ticks slept are not a number": (1, ["12"]),
        },
    ),
    # a quote begins nothing: the lines after it are read
    "quotes.csv": Expected(
        [4, 7, 10], [0, 30, 60], {"a subject or value that is no word": (4, ["5", "6", "8", "9"])}
    ),
    "blank_lines.csv": Expected([6, 9], [0, 10], {}),
    "junk_before_the_head.csv": Expected(
        [6, 7],
        [0, 10],
        {"core is not a number from 0 to 255": (1, ["1"]), "not UTF-8": (1, ["2"])},
    ),
    "no_first_line.csv": Expected([3, 4], [0, 10], {}),
    "no_column_names.csv": Expected([3, 4], [0, 10], {}),
    "declarations.csv": Expected(
        [20, 22],
        [0, 10],
        {
            "a declaration without id": (1, ["13"]),
            "a declared value does not fit": (1, ["14"]),
            "a declaration that is not key=value": (2, ["15", "16"]),
            "not a declaration": (2, ["17", "18"]),
        },
    ),
    # 1000, 3000 | 5000, 6000 | 6000, 6500: each boot from 0, laid end to end
    "header_repeated.csv": Expected(
        [4, 5, 9, 10, 13, 14], [0, 2000, 2000, 3000, 3000, 3500], {}, [0, 0, 1, 1, 2, 2]
    ),
    # back from 90000 to 500, and from 60700 to 40000; both less than half of 2^32
    "time_steps_back.csv": Expected(
        [4, 5, 6, 7, 8, 9], [0, 20000, 20000, 20200, 80200, 80200], {}, [0, 0, 1, 1, 1, 2]
    ),
    # of 16 bits: 65000, 65636 (core 1), then 65530 late, 65736, 105536, 138072
    "wraps.csv": Expected([4, 6, 5, 7, 8, 9], [0, 530, 636, 736, 40536, 73072], {}),
    # late by up to 10000 us, the default: 15001 and 15000, but not 14999
    "late_records.csv": Expected(
        [8, 6, 4, 5, 7, 9], [0, 1, 5000, 10000, 10000, 10000], {}, [0, 0, 0, 0, 0, 1]
    ),
    "late_us.csv": Expected([6, 4, 5, 7], [0, 10, 50, 50], {}, [0, 0, 0, 1]),
    # late_us of 20000 counts for 16384 on a counter of 16 bits: 4000 is late, 3600 is not
    "late_us_too_long.csv": Expected([5, 4, 6], [0, 16000, 16000], {}, [0, 0, 1]),
    "silence.csv": Expected([4, 5, 6], [0, 39900, 49900], {}),
    # the counter stood still for 5000 ticks at 1010 and for 100 at 1021; a new boot starts anew
    "counter_sleeps.csv": Expected(
        [4, 8, 5, 6, 7, 9, 10, 11, 13, 14],
        [0, 8, 10, 5010, 5015, 5020, 5121, 5130, 5130, 5140],
        {},
        [0, 0, 0, 0, 0, 0, 0, 0, 1, 1],
    ),
    # core 1 at 2 MHz: its first event, 7000, is tied to the 500 us of the line before
    "own_clocks.csv": Expected([5, 6, 7, 9, 8, 11, 10], [0, 500, 500, 550, 736, 836, 1000], {}),
}

WARNINGS = {
    "no_first_line.csv": ["{file}: no line '#tracelens 1'; read as an event log of version 1"],
    "declarations.csv": [
        "{file}:11: the declaration #colour is not known; it is kept, and nothing rests on it",
        "{file}:12: the key colour of #task is not known; it is kept, and nothing rests on it",
    ],
    "silence.csv": [
        "{file}:5: nothing for 39.900 ms before this line; the counter wraps every 65.536 ms, "
        "so a longer silence would look the same"
    ],
    "wraps.csv": [
        "{file}:8: nothing for 39.800 ms before this line; the counter wraps every 65.536 ms, "
        "so a longer silence would look the same"
    ],
    "late_us_too_long.csv": [
        "late_us=20000 of #clock is longer than a quarter of the counter's range; "
        "records up to 16.384 ms late are put in order",
        "time steps back by more than late_us at {file}:6: taken as a restart of the target "
        "(if the counter wraps there, declare its bits in #clock)",
    ],
    "time_steps_back.csv": [
        "time steps back by more than late_us at {file}:6, {file}:9: taken as a restart of the "
        "target (if the counter wraps there, declare its bits in #clock)"
    ],
    "late_records.csv": [
        "time steps back by more than late_us at {file}:9: taken as a restart of the target "
        "(if the counter wraps there, declare its bits in #clock)"
    ],
    "late_us.csv": [
        "time steps back by more than late_us at {file}:7: taken as a restart of the target "
        "(if the counter wraps there, declare its bits in #clock)"
    ],
}

REFUSED = {
    "empty.csv": (
        "{file}: the file is empty: expected an event log, which begins with '#tracelens 1'",
        "check that the capture ran and had room to write",
    ),
    "not_a_log.csv": (
        "{file}:1: not an event log: found 't_ticks,core,what,who,arg', expected '#tracelens 1'",
        "sample_traces/FORMAT.md describes the event log",
    ),
    "binary.bin": (
        "{file}:1: not an event log: found what is no text, expected '#tracelens 1'",
        "sample_traces/FORMAT.md describes the event log",
    ),
    "utf16.csv": (
        "{file}:1: not UTF-8: found the byte order mark of UTF-16, expected text in UTF-8",
        "save the file as UTF-8",
    ),
    "other_version.csv": (
        "{file}:1: another version of the event log: found 2, expected 1",
        "a newer tracelens may read it",
    ),
    "clock_missing.csv": (
        "{file}: no #clock line: found times in ticks, expected how many ticks a second has",
        "add a line such as: #clock hz=1000000 bits=32",
    ),
    "clock_without_hz.csv": (
        "{file}:2: #clock without a usable hz: found '#clock hz=1MHz bits=32', "
        "expected hz=, the ticks a second",
        "for example: #clock hz=1000000 bits=32",
    ),
    "clock_changes.csv": (
        "{file}:5: #clock declared again: found hz=2000000, expected hz=1000000 as in line 2",
        "cut the log in two where the clock changes",
    ),
    "core_without_clock.csv": (
        "{file}:5: no clock for core 1: found #clock lines of other cores only",
        "add #clock core=1 hz=…, or one #clock without core= for all others",
    ),
    "order_missing.csv": (
        "{file}: no #priority order: found #task id=t1 priority=3, "
        "expected which number is more urgent",
        "add #priority order=higher_first or #priority order=lower_first",
    ),
    "order_missing_event.csv": (
        "{file}: no #priority order: found priority events, expected which number is more urgent",
        "add #priority order=higher_first or #priority order=lower_first",
    ),
    "order_missing_ceiling.csv": (
        "{file}: no #priority order: found #lock id=m1 ceiling=5, "
        "expected which number is more urgent",
        "add #priority order=higher_first or #priority order=lower_first",
    ),
    "too_long.csv": (
        "{file}: the log spans more time than nanoseconds in 63 bits can count (292 years)",
        "check hz and bits in #clock, and the log for damaged times",
    ),
}


@pytest.mark.parametrize("name", READ)
def test_a_damaged_log_is_read_around_its_damage(name: str) -> None:
    expected, log = READ[name], read(BAD_LOGS / name)
    assert log.events["line"].to_list() == expected.lines
    assert log.events["time_ns"].to_list() == [us * 1000 for us in expected.times_us]
    assert log.events["boot"].to_list() == (expected.boots or [0] * len(expected.lines))
    assert unused(log) == expected.unused
    assert log.lines == len((BAD_LOGS / name).read_bytes().splitlines(keepends=True))


@pytest.mark.parametrize("name", READ)
def test_what_is_doubtful_is_said_in_a_sentence(name: str) -> None:
    file = BAD_LOGS / name
    expected = [text.format(file=file) for text in WARNINGS.get(name, [])]
    assert list(read(file).warnings) == expected


@pytest.mark.parametrize("name", [name for name in READ if READ[name].unused])
def test_strict_refuses_the_first_damaged_line(name: str) -> None:
    first = min(int(lines[0]) for _, lines in READ[name].unused.values())
    with pytest.raises(LogError) as caught:
        read(BAD_LOGS / name, strict=True)
    assert caught.value.place == f"{BAD_LOGS / name}:{first}"
    assert caught.value.hint == "without --strict the line is left out, counted and reported"


@pytest.mark.parametrize("name", [name for name in READ if not READ[name].unused])
def test_strict_accepts_what_needs_no_repair_of_lines(name: str) -> None:
    assert len(read(BAD_LOGS / name, strict=True).events) == len(READ[name].lines)


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_log_or_lacks_what_none_can_lack_is_an_error_of_one_line(name: str) -> None:
    text, hint = REFUSED[name]
    with pytest.raises(LogError) as caught:
        read(BAD_LOGS / name)
    assert str(caught.value) == text.format(file=BAD_LOGS / name)
    assert caught.value.hint == hint
    assert caught.value.status == 3


def test_every_bad_log_has_its_expectation() -> None:
    assert {path.name for path in BAD_LOGS.iterdir()} == READ.keys() | REFUSED.keys()


STRICT = {
    "torn_last_line.csv": "6: torn last line: found '1020,0,wai', expected a line end after the "
    "last line",
    "lines_run_together.csv": "4: more than 5 fields: found '1000,0,start,t1,1010,0,wait,t1,delay'"
    ", expected time,core,event,subject,value",
    "bad_numbers.csv": "5: time is not a number: found '-5,0,start,t2,', expected a whole number "
    "of ticks from 0 to 2^64 - 1",
    "values_missing.csv": "5: no subject: found '1000,0,start,,', expected what the event is "
    "about, or - for 'no task'",
    "declarations.csv": "13: a declaration without id: found '#task name=nobody', expected id=…",
}


@pytest.mark.parametrize("name", STRICT)
def test_strict_says_what_was_found_and_what_was_expected(name: str) -> None:
    with pytest.raises(LogError) as caught:
        read(BAD_LOGS / name, strict=True)
    assert str(caught.value) == f"{BAD_LOGS / name}:{STRICT[name]}"
