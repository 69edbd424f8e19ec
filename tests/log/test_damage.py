"""Damage costs the damaged lines and nothing else, and never an exception that is not ours."""

import random

import polars as pl
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.log.texts import BAD_LOGS, COLUMNS, SAID, log_text, rows, unused
from tests.random_logs import random_log
from tracelens.errors import TraceLensError
from tracelens.log import read, read_bytes
from tracelens.log.lines import FIELDS
from tracelens.log.scan import scan
from tracelens.log.text import Text
from tracelens.model.events import EVENT_WORDS
from tracelens.model.log import Log

LOG = random_log(3, events=15, cores=2).encode()
LINES = LOG.splitlines(keepends=True)


def read_or_refuse(data: bytes) -> Log | None:
    """The log; None if it is refused with an error of one line and a hint."""
    try:
        return read_bytes(data, "log")
    except TraceLensError as error:
        assert "\n" not in str(error)
        assert error.place
        assert error.hint
        return None


def test_any_prefix_of_a_log_is_read_or_refused() -> None:
    whole = read_bytes(LOG, "log")
    seen = set()
    for size in range(len(LOG)):
        log = read_or_refuse(LOG[:size])
        seen.add(None if log is None else len(log.events))
        if log is not None:
            lost = sum(count for count, _ in unused(log).values())
            assert lost <= 1
            assert rows(log, "line", *SAID[:4]) == rows(whole, "line", *SAID[:4])[: len(log.events)]
    assert seen == {None, *range(len(whole.events) + 1)}


@settings(max_examples=80)
@given(st.integers(0, len(LINES) - 1), st.binary(max_size=60))
@example(len(LINES) - 1, b"7\r")
@example(0, b"\xff\xfe")
def test_a_line_replaced_by_any_bytes_is_read_or_refused(at: int, noise: bytes) -> None:
    read_or_refuse(b"".join([*LINES[:at], noise, b"\n", *LINES[at + 1 :]]))


@settings(max_examples=80)
@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    read_or_refuse(data)
    read_or_refuse(log_text() + data)


FIELD = st.one_of(
    st.sampled_from(
        ["0", "1", "12", " 7", "+3", "-1", "256", "18446744073709551615", "t1", "-", ""]
    ),
    st.sampled_from([*EVENT_WORDS[:6], "lost", "irq", "delay"]),
    st.text(st.characters(codec="utf-8", exclude_characters="\n"), max_size=4),
)
LINE = st.one_of(
    st.lists(FIELD, min_size=1, max_size=7).map(",".join),
    st.tuples(
        st.sampled_from(["5", " 12", "+3", "18446744073709551616", "5\r", "\t5"]),
        st.sampled_from(["0", "255", "256", "007", "1\r"]),
        st.sampled_from(["start", "lost", "star", "starts", "terminate", "start\r", "Start"]),
        FIELD,
        FIELD,
    ).map(",".join),
)


@settings(max_examples=120)
@given(LINE)
@example("5,0,start,t1,a\r\r")
@example("5,0,start,t1,\ra")
@example("5,0,start,,,")
@example("00000000000000000000000000005,0,start,t1,")
@example("5,0,start,#t1,")
@example("#,0,start,t1,")
def test_what_the_grammar_calls_an_event_is_what_the_table_reader_takes(line: str) -> None:
    """polars' CSV reader is the reference: a line is an event if it reads it without a complaint.

    Beyond that the grammar asks only that words be words.
    """
    data = f"{line}\n".encode()
    scanned = scan(Text.of(data))
    try:
        frame = pl.read_csv(
            COLUMNS.encode() + data, comment_prefix="#", quote_char=None, schema=FIELDS
        )
    except pl.exceptions.PolarsError:
        frame = pl.DataFrame(schema=FIELDS)
    complete = frame.drop_nulls(["time", "core", "event"])
    words = complete.select("subject", "value").cast(pl.String).row(0) if len(complete) else ()
    wanted = bool(words) and not any(
        word is not None and (word.strip(" ") != word or any(c in '"\x7f' or c < " " for c in word))
        for word in words
    )
    assert (len(scanned.numbers) == 0) == wanted
    if wanted:
        assert scanned.events.drop("line").equals(complete)


@pytest.mark.parametrize("size", [1, 60, 1000])
def test_pieces_and_many_tokens_make_no_difference(
    size: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The table reader of polars is the reference. More tokens than a piece first has room for."""
    lines = [f"{2**63 - 900 + t},{t % 3},mark,m{t % 1500},{t * 7 % 2100}" for t in range(3000)]
    lines[7::100] = ["oops", "", "#remark"] * 10
    data = "\n".join(lines).encode()
    monkeypatch.setattr("tracelens.log.scan._PIECE", size)
    monkeypatch.setattr("tracelens.log.scan._BLOCK", size)
    monkeypatch.setattr("os.cpu_count", lambda: 3)
    kept = [line for line in lines if line[:1].isdigit()]
    expected = pl.read_csv(COLUMNS.encode() + "\n".join(kept).encode(), schema=FIELDS)
    for way in ("TRACELENS_PLAIN", "TRACELENS_COMPILED"):
        with monkeypatch.context() as forced:
            forced.setenv(way, "1")
            scanned = scan(Text.of(data))
        assert scanned.events.drop("line").equals(expected), way
        numbers = [n for n, line in enumerate(lines, 1) if line[:1].isdigit()]
        assert scanned.events["line"].to_list() == numbers
        assert scanned.numbers.tolist() == sorted({*range(1, 3001)} - {*numbers})
        assert scanned.remarks == [
            (n, "#remark") for n in range(1, 3001) if lines[n - 1] == "#remark"
        ]
        assert scanned.lines == 3000


NOISE = [
    lambda rng, line: rng.randbytes(rng.randrange(1, 40)).replace(b"\n", b"?"),
    lambda rng, line: line[: rng.randrange(1, 8)],
    lambda rng, line: line + line,
    lambda rng, line: line.replace(b",", b";"),
    lambda rng, line: line[:3] + bytes([rng.randrange(128, 256)]) + line[3:],
    lambda rng, line: b"",
]


@pytest.mark.parametrize("seed", range(30))
def test_good_lines_give_the_same_events_whatever_stands_between_them(seed: int) -> None:
    rng = random.Random(seed)
    text = random_log(seed, events=150, cores=1 + seed % 2, messy=seed % 3 == 0).encode()
    lines = text.splitlines()
    first = lines.index(COLUMNS.strip().encode()) + 1
    spoiled, kept = lines[:first], list(range(1, first + 1))
    for number, line in enumerate(lines[first:], first + 1):
        if rng.random() < 0.2:
            noise = rng.choice(NOISE)(rng, line)
            if (
                not is_event(noise)
                and not noise.startswith(b"#")
                and noise.strip(b"\r") != lines[first - 1]
            ):
                spoiled.append(noise)
                kept.append(0)
        spoiled.append(line)
        kept.append(number)
    clean = read_bytes(text, "log")
    damaged = read_bytes(b"\n".join([*spoiled, b""]), "log")
    assert rows(damaged) == rows(clean)
    assert [kept[line - 1] for line in damaged.events["line"]] == clean.events["line"].to_list()
    inserted = sum(
        1 for number, line in zip(kept, spoiled, strict=True) if not number and line.strip(b"\r")
    )
    count = sum(count for count, _ in unused(damaged).values())
    assert count - sum(count for count, _ in unused(clean).values()) == inserted


def is_event(line: bytes) -> bool:
    return len(scan(Text.of(line + b"\n")).numbers) == 0


@pytest.mark.parametrize(
    ("last", "is_used"),
    [
        ("3,0,start,t9", True),  # declared
        ("3,0,start,needle_select", True),  # declared, by its name
        ("3,0,wait,t1,delay", True),  # a word of the format
        ("3,0,start,t1", True),  # the log has it elsewhere
        ("3,0,start,new,", True),  # a comma follows
        ("3,0,start,new\r", True),  # half a line end follows
        ("3,0,start,new", False),
        ("3,0,release,t1,ne", False),
        ("3,0,lost", False),
        ("3,0,lock,t1,", False),
    ],
)
def test_a_last_line_without_its_end_is_used_if_its_last_word_is_known(
    last: str, is_used: bool
) -> None:
    head = log_text("1,0,start,t1,", declared="#task id=t9 name=needle_select\n")
    log = read_bytes(head + last.encode(), "log")
    assert len(log.events) == 1 + is_used
    assert unused(log) == ({} if is_used else {"torn last line": (1, ["6"])})


def test_declarations_are_found_among_words_with_a_hash() -> None:
    lines = ["1,0,mark,#1,", "#task id=t1 name=a", "2,0,mark,a#,#", "#task id=t2 name=b"]
    log = read_bytes(log_text(*lines), "log")
    assert [(task.name, task.line) for task in log.declared.tasks] == [("a", (0, 5)), ("b", (0, 7))]
    assert rows(log, "line", "subject", "value") == [(4, "#1", None), (6, "a#", "#")]


def test_at_most_five_lines_are_named_and_all_are_counted() -> None:
    lines = ["1,0,start,t1,", *["x"] * 7, "2,0,oops,t1,", "3,0,start,t2,"]
    log = read_bytes(log_text(*lines), "log")
    assert log.unused.rows() == [
        ("fewer than 3 fields", 7, ["5", "6", "7", "8", "9"]),
        ("unknown event word", 1, ["12"]),
    ]


def test_a_log_whose_lines_are_all_damaged_is_read_if_its_head_says_what_it_is() -> None:
    log = read_bytes(log_text(*["1;0;start"] * 3), "log")
    assert len(log.events) == 0
    assert unused(log) == {"fewer than 3 fields": (3, ["4", "5", "6"])}
    assert log.warnings == ("the log has no events",)


def test_damage_on_every_kind_of_line_of_a_long_log_costs_those_lines() -> None:
    """Long enough for the compiled form; every thousandth line is noise."""
    lines = [f"{t},{t % 2},mark,m{t % 7},{t % 100}" for t in range(120_000)]
    damaged = lines.copy()
    damaged[500::1000] = ["\x00noise"] * len(damaged[500::1000])
    kept = [line for line in damaged if not line.startswith("\x00")]
    log, clean = read_bytes(log_text(*damaged), "log"), read_bytes(log_text(*kept), "log")
    assert rows(log) == rows(clean)
    assert unused(log)["fewer than 3 fields"] == (120, ["504", "1504", "2504", "3504", "4504"])
    expected = [n for n, line in enumerate(damaged, 4) if not line.startswith("\x00")]
    assert log.events["line"].to_list() == expected


@pytest.mark.parametrize(
    "name", ["binary_noise.csv", "bad_numbers.csv", "wraps.csv", "own_clocks.csv"]
)
def test_compiled_and_plain_read_the_same(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TRACELENS_PLAIN", "1")
    plain = read(BAD_LOGS / name)
    monkeypatch.delenv("TRACELENS_PLAIN")
    monkeypatch.setenv("TRACELENS_COMPILED", "1")
    fast = read(BAD_LOGS / name)
    assert fast.events.equals(plain.events)
    assert fast.unused.equals(plain.unused)
    assert (fast.restarts, fast.warnings) == (plain.restarts, plain.warnings)
