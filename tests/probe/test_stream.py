"""Streams as channels deliver them: in pieces, cut, repeated, flipped, begun again."""

import io
import random

import polars as pl
import pytest

from tests.probe.encoder import HEAD, count, record, stream, text
from tracelens.log import read_bytes
from tracelens.probe.stream import Counters, Stream


def taken(data: bytes, size: int | None = None) -> tuple[str, Counters]:
    reader = Stream()
    size = size or max(1, len(data))
    out = b"".join(reader.feed(data[i : i + size]) for i in range(0, len(data), size))
    return (out + reader.end()).decode(), reader.counters


def events(log: str) -> list[list[str]]:
    return [line.split(",") for line in log.splitlines() if line[0].isdigit()]


def test_a_stream_becomes_a_log_that_reads() -> None:
    log, counters = taken(stream(100))
    assert log.startswith(
        "#tracelens 1\n#clock hz=1000000 bits=32\n#priority order=higher_first\n"
        '#task id=o1 name="needle_select" priority=6\ntime,core,event,subject,value\n'
        "1000,0,mark,warm_up,0\n"
    )
    assert counters == Counters(events=100, begins=1)
    read = read_bytes(log.encode(), "log")
    assert read.events.height == 100
    assert read.unused.is_empty()


@pytest.mark.parametrize("size", [1, 7, 64, 1000])
def test_pieces_of_any_size_give_the_same(size: int) -> None:
    assert taken(stream(300), size) == taken(stream(300))


def test_each_event_in_the_words_of_the_log() -> None:
    said = [
        (1, 1, None), (2, 1, None), (3, 1, None), (4, 1, 0xFFFF), (4, 1, 6), (4, 1, 0),
        (5, 1, 7), (5, 1, 0), (6, 1, None), (7, 1, None), (8, 1, None), (9, 1, 12),
        (10, 7, None), (11, 7, None), (12, 7, None), (13, 1, 1), (14, 1, 2), (15, 1, 5),
        (16, 1, 5), (17, 1, 5), (18, 7, 6), (19, 1, 6), (20, 1, 2**32 - 3), (21, 1, 3_000_000_000),
        (22, 0, None), (23, 0, 40), (24, 9, 2**32 - 1), (25, 9, None), (26, 9, None),
        (27, 9, None), (27, 0, None), (2, 0, None), (28, 0, 17),
    ]  # fmt: skip
    data = HEAD + b"".join(record(i, c, 2, i, s, v) for i, (c, s, v) in enumerate(said))
    assert [line[2:] for line in events(taken(data)[0])] == [
        ["activate", "o1", ""], ["start", "o1", ""], ["preempt", "o1", ""],
        ["wait", "o1", "delay"], ["wait", "o1", "o6"], ["wait", "o1", ""],
        ["release", "o1", "o7"], ["release", "o1", ""], ["terminate", "o1", ""],
        ["suspend", "o1", ""], ["arrive", "o1", ""], ["finish", "o1", "12"],
        ["enter", "o7", ""], ["leave", "o7", ""], ["pend", "o7", ""],
        ["mask", "o1", "irq"], ["unmask", "o1", "sched"], ["request", "o1", "o5"],
        ["lock", "o1", "o5"], ["unlock", "o1", "o5"], ["send", "o7", "o6"],
        ["receive", "o1", "o6"], ["priority", "o1", "-3"], ["stack", "o1", "3000000000"],
        ["sleep", "2", ""], ["wake", "2", "40"], ["mark", "warm_up", "-1"],
        ["mark", "warm_up", "begin"], ["mark", "warm_up", "end"], ["mark", "warm_up", ""],
        ["mark", "heartbeat", ""], ["start", "-", ""], ["lost", "", "17"],
    ]  # fmt: skip


@pytest.mark.parametrize("gone", [1, 60, 200, 256, 1000])
def test_what_did_not_arrive_is_counted(gone: int) -> None:
    """The sequence tells losses modulo 256, the next count the rest."""
    head, frames = stream(0), [record(i, 24, 0, 10 * i, 9, i) for i in range(1200)]
    for i in range(1152, -1, -64):
        frames.insert(i, count(0, i))
    data = head + b"".join(frames[:50] + frames[50 + gone :])
    expected = sum(1 for f in frames[50 : 50 + gone] if f[1:3] != count(0, 0)[1:3])
    log, counters = taken(data)
    records_gone = 1200 - counters.events
    assert counters.lost == records_gone
    assert expected >= records_gone > 0
    told = sum(int(line[4]) for line in events(log) if line[2] == "lost")
    assert told == records_gone


def test_a_repeated_piece_is_taken_once() -> None:
    data = stream(200)
    half = len(data) // 2
    log, counters = taken(data[:half] + data[: half + 40] + data[half:])
    assert counters.events == 200
    assert counters.begins == 1
    assert counters.repeated > 0
    assert events(log) == events(taken(data)[0])


def test_a_target_that_begins_again_is_another_boot() -> None:
    log, counters = taken(stream(100) + stream(70, time=5))
    assert (counters.events, counters.lost, counters.begins) == (170, 0, 2)
    assert read_bytes(log.encode(), "log").events["boot"].unique().to_list() == [0, 1]


def test_declarations_that_are_sent_again_begin_nothing() -> None:
    data = stream(100) + HEAD + record(100, 24, 0, 3000, 9, 1)
    log, counters = taken(data)
    assert (counters.events, counters.lost, counters.begins) == (101, 0, 1)
    assert log.count("#clock") == 1


def test_a_name_that_comes_late_is_declared_where_it_comes() -> None:
    late = text(9, 'task id=o2 name="late"') + record(3, 2, 0, 5000, 2)
    log, _ = taken(stream(3) + late)
    assert log.splitlines()[-2:] == ['#task id=o2 name="late"', "5000,0,start,o2,"]


def damaged(data: bytes, rng: random.Random) -> bytes:
    """One to four of: a flipped bit, a piece cut out, a piece repeated, noise put in."""
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(data))
        length = rng.randint(1, 300)
        match rng.randrange(4):
            case 0:
                flipped = data[at] ^ 1 << rng.randrange(8)
                data = data[:at] + bytes([flipped]) + data[at + 1 :]
            case 1:
                data = data[:at] + data[at + length :]
            case 2:
                data = data[: at + length] + data[at:]
            case 3:
                data = data[:at] + rng.randbytes(length) + data[at:]
    return data


def corrupt(seed: int) -> None:
    """No crash, every event that is told is one that was sent, and none is unaccounted for."""
    rng = random.Random(seed)
    whole = stream(400, first=rng.randrange(0, 300, 64))
    sent = {tuple(line) for line in events(taken(whole)[0])}
    # The end is left whole: what is missing in the middle must have been noticed by then.
    end = len(stream(400)) // 5
    log, counters = taken(damaged(whole[:-end], rng) + b"\0" + whole[-end:], rng.randint(1, 5000))
    # Its name may be what was damaged; then the object's id stands in its place.
    told = [tuple(line) for line in events(log.replace(",o9,", ",warm_up,"))]
    of_records = [line for line in told if line[2] != "lost"]
    assert set(of_records) <= sent
    assert len(of_records) == len(set(of_records)) == counters.events
    lost = sum(int(line[4]) for line in told if line[2] == "lost")
    assert lost == counters.lost
    first = min((int(line[4]) for line in of_records), default=0)
    begun = min(int(line[4]) for line in sent)
    assert counters.events + lost in (400, 400 - (first - begun)), "all but what came first"
    frame = pl.read_csv(io.BytesIO(log.encode()), comment_prefix="#", infer_schema=False)
    assert frame.height == len(told)


@pytest.mark.parametrize("seed", range(60))
def test_a_corrupted_stream(seed: int) -> None:
    corrupt(seed)


@pytest.mark.night
@pytest.mark.parametrize("hundred", range(30))
def test_thousands_of_corrupted_streams(hundred: int) -> None:
    for seed in range(100 + 100 * hundred, 200 + 100 * hundred):
        corrupt(seed)


@pytest.mark.parametrize("seed", [385, 1165, 1241, 3950, 4384])
def test_a_count_that_comes_late_is_not_believed(seed: int) -> None:
    """Found among thousands: a piece sent again, whose first copy had been damaged."""
    corrupt(seed)


def test_one_flipped_bit_costs_one_record_at_most() -> None:
    """Resynchronised within one record: a bit costs its frame, or two if it was the zero between,
    or made one. (What is missing before the first record could not be told.)"""
    data = stream(40)
    for at in range(len(HEAD) + 24, len(data) - 40, 3):
        flipped = bytearray(data)
        flipped[at] ^= 1 << at % 8
        _, counters = taken(bytes(flipped))
        assert counters.events >= 38, at
        assert counters.events + counters.lost == 40, at
