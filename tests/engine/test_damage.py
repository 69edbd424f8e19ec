"""Damage does what it says, no more, and says what it did."""

from itertools import pairwise

import pytest

from tracelens.engine import simulate
from tracelens.engine.damage import Damage, damage
from tracelens.engine.damage_words import parse_damage
from tracelens.errors import UsageError
from tracelens.formats.taskset_toml import parse_taskset
from tracelens.log import read_bytes

SET = """
[priority]
order = "higher_first"
[clock]
hz = 1_000_000
bits = 32
[cores.left]
id = 0
[cores.right]
id = 1
[tasks.a]
priority = 2
core = 0
period_us = 500
body = ["run 50..100"]
[tasks.b]
priority = 1
core = 1
period_us = 700
body = ["run 50..300"]
"""
GOOD = simulate(parse_taskset(SET), until_ns=200_000_000).log


def events(log: bytes) -> list[str]:
    return [line for line in log.decode(errors="replace").splitlines() if line[:1].isdigit()]


def test_no_damage_no_change():
    assert damage(GOOD, Damage()).log == GOOD


def test_lost_events_are_counted_core_by_core():
    done = damage(GOOD, Damage(loss=0.1, burst=10), seed=1)
    rows, good = events(done.log), events(GOOD)
    kept = [row for row in rows if ",lost," not in row]
    assert len(good) - len(kept) == len(done.lost) == done.lost_events_told > 0
    gone = set(done.lost)
    assert kept == [row for place, row in enumerate(good) if place not in gone]
    for core in "01":
        told = sum(int(row.split(",")[4]) for row in rows if f",{core},lost," in row)
        assert told == sum(good[place].split(",")[1] == core for place in done.lost)


def test_the_share_lost_is_the_share_asked_for():
    shares = [len(damage(GOOD, Damage(loss=0.1, burst=5), seed).lost) for seed in range(20)]
    assert 0.08 < sum(shares) / 20 / len(events(GOOD)) < 0.12


def test_losses_that_nobody_tells():
    done = damage(GOOD, Damage(loss=0.1, told=False), seed=1)
    assert b",lost," not in done.log
    assert done.lost_events_told == 0


def test_late_records_keep_their_times():
    done = damage(GOOD, Damage(late=0.05, late_ticks=300), seed=2)
    assert sorted(events(done.log)) == sorted(events(GOOD))
    times = [int(row.split(",")[0]) for row in events(done.log)]
    back = [before - after for before, after in pairwise(times)]
    assert 0 < max(back) <= 300


def test_wraps():
    done = damage(GOOD, Damage(bits=16))
    assert b"#clock hz=1000000 bits=16\n" in done.log
    times = [int(row.split(",")[0]) for row in events(done.log)]
    assert max(times) < 1 << 16
    assert sum(after < before for before, after in pairwise(times)) == 3
    whole, narrow = read_bytes(GOOD, "good"), read_bytes(done.log, "narrow")
    assert whole.events["time_ns"].equals(narrow.events["time_ns"])


def test_a_narrow_counter_may_be_damaged_too():
    narrow = damage(GOOD, Damage(bits=16)).log
    assert damage(narrow, Damage(bits=32)).log == GOOD


def test_restarts_begin_at_zero_with_the_header():
    done = damage(GOOD, Damage(restarts=2), seed=3)
    assert done.log.count(b"#tracelens 1\n") == 3
    good, bad = events(GOOD), events(done.log)
    for place in done.restarted_at:
        assert bad[place].split(",")[0] == "0"
        assert bad[place].split(",")[1:] == good[place].split(",")[1:]
    assert len(read_bytes(done.log, "bad").restarts) == 2


def test_torn_lines_noise_and_the_pulled_cable():
    done = damage(GOOD, Damage(torn=0.01, noise=0.01, crlf=True, cut=True), seed=4)
    assert done.log.count(b"\r\n") >= len(events(GOOD)) - 1
    assert not done.log.endswith(b"\n")
    log = read_bytes(done.log, "bad")
    assert len(done.torn) > 0
    assert log.unused["count"].sum() > 0
    assert log.events.height + len(done.torn) + 1 >= len(events(GOOD))


def test_same_seed_same_bytes():
    how = Damage(loss=0.1, late=0.1, torn=0.1, noise=0.1, restarts=1)
    assert damage(GOOD, how, 5).log == damage(GOOD, how, 5).log
    assert damage(GOOD, how, 5).log != damage(GOOD, how, 6).log


def test_words():
    assert parse_damage(["loss=0.02", "bits=16", "crlf", "told=no"]) == Damage(
        loss=0.02, bits=16, crlf=True, told=False
    )


@pytest.mark.parametrize(
    ("word", "message"),
    [
        ("los=1", "--damage los=1: 'los' is no kind of damage: did you mean loss?"),
        ("loss=much", "--damage loss: found 'much', expected a share such as 0.02"),
        ("bits", "--damage bits: found '', expected a whole number"),
        ("cut=maybe", "--damage cut: found 'maybe', expected yes or no"),
    ],
)
def test_wrong_words(word, message):
    with pytest.raises(UsageError) as caught:
        parse_damage([word])
    assert str(caught.value) == message


def test_shares_end_below_one():
    with pytest.raises(UsageError, match=r"damage loss: found 1\.5, expected a share from 0 to"):
        damage(GOOD, Damage(loss=1.5))


@pytest.mark.parametrize(
    "word",
    ["bits=-8", "bits=0", "bits=65", "burst=0", "late_ticks=-1", "restarts=-1",
     "restarts=65538", "restarts=99999999999999999999"],
)  # fmt: skip
def test_whole_numbers_have_a_range(word):
    name, _, number = word.partition("=")
    with pytest.raises(UsageError, match=rf"damage {name}: found {number}, expected a whole num"):
        damage(GOOD, parse_damage([word, "late=0.1"]))


def test_a_restart_before_every_line_but_the_first_and_the_last():
    count = GOOD.count(b"\n") - GOOD[: GOOD.index(b"time,core")].count(b"\n") - 1
    assert len(damage(GOOD, Damage(restarts=count - 2)).restarted_at) == count - 2
