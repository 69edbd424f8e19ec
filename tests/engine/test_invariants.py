"""What holds for every task set, under every policy: nothing is lost, counted twice or shared."""

import random
import re

import polars as pl
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from tests.engine.random_sets import random_set
from tracelens.engine import Simulated, simulate
from tracelens.formats.taskset_toml import parse_taskset
from tracelens.log import read_bytes

SPAN = 20_000_000


def one(draw: random.Random) -> Simulated:
    return simulate(parse_taskset(random_set(draw)), seed=1, until_ns=SPAN)


EVERY = settings(
    max_examples=40,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
RANDOMS = st.randoms(use_true_random=False)


@EVERY
@given(RANDOMS)
def test_conservation(draw):
    done = one(draw)
    truth = done.truth
    length = pl.col("end_ns") - pl.col("start_ns")

    # A core has one occupant at a time, and always one.
    for _, rows in truth.occupancy.group_by("core"):
        assert rows["start_ns"][0] == 0
        assert rows["end_ns"][-1] == SPAN
        assert (rows["start_ns"][1:] == rows["end_ns"][:-1]).all()
        assert (rows["end_ns"] > rows["start_ns"]).all()

    # A task is on one core at a time.
    running = truth.occupancy.filter(pl.col("occupant") == "task").sort("who", "start_ns")
    for _, rows in running.group_by("who"):
        assert (rows["start_ns"][1:] >= rows["end_ns"][:-1]).all()

    # A job's ledger tiles [release, end) exactly.
    ledgers = truth.episodes.group_by("job_id").agg(
        length.sum().alias("sum"), pl.min("start_ns"), pl.max("end_ns").alias("last")
    )
    jobs = truth.jobs.join(ledgers, "job_id", how="left").filter(
        pl.col("end_ns") > pl.col("release_ns")
    )
    assert (jobs["sum"] == jobs["end_ns"] - jobs["release_ns"]).all()
    assert (jobs["start_ns_right"] == jobs["release_ns"]).all()
    assert (jobs["last"] == jobs["end_ns"]).all()

    # Whoever has a core works at a job, and every job's work is on a core.
    on_cores = running.group_by("who").agg(length.sum()).rows()
    in_ledgers = (
        truth.episodes.filter(pl.col("entry") == "execution")
        .group_by("by")
        .agg(length.sum())
        .rows()
    )
    assert sorted(on_cores) == sorted(in_ledgers)

    # Jobs of one task run one after another, in order of release.
    for _, rows in truth.jobs.filter(pl.col("start_ns").is_not_null()).group_by("task"):
        assert (rows["release_ns"][1:] >= rows["release_ns"][:-1]).all()
        assert (rows["start_ns"][1:] >= rows["end_ns"][:-1]).all()


@EVERY
@given(RANDOMS)
def test_the_log_is_sound(draw):
    done = one(draw)
    log = read_bytes(done.log, "simulated")
    assert log.unused.is_empty()
    assert log.warnings == ()
    assert log.events["time_ns"].is_sorted()
    assert log.events.select("time_ns", "core").equals(done.events.select("time_ns", "core"))
    assert log.events["line"].equals(done.events["line"])

    # A lock has one owner at a time, and only its owner gives it back.
    owner: dict[str, tuple[str, int]] = {}
    rows = done.events.select(pl.col("event", "subject", "value").cast(pl.String)).rows()
    for event, subject, value in rows:
        if event == "lock":
            who, depth = owner.get(value, (subject, 0))
            assert who == subject
            owner[value] = (subject, depth + 1)
        elif event == "unlock":
            who, depth = owner.pop(value)
            assert who == subject
            if depth > 1:
                owner[value] = (who, depth - 1)

    # No queue holds more than its depth, or less than nothing.
    depth = {queue.id: queue.depth for queue in done.declared.queues}
    items = dict.fromkeys(depth, 0)
    for event, _, value in rows:
        if event in ("send", "receive"):
            items[value] += 1 if event == "send" else -1
            assert 0 <= items[value] <= depth[value]


@EVERY
@given(RANDOMS)
def test_under_the_immediate_ceiling_nobody_waits_for_a_lock(draw):
    """On one core, if no holder sleeps or loses its turn (Sha, Rajkumar & Lehoczky 1990)."""
    text = random_set(draw, cores=1)
    for protocol in ("none", "inherit", "original_ceiling"):
        text = text.replace(f'protocol = "{protocol}"', 'protocol = "ceiling"')
    text = text.replace('"round_robin"', '"fixed"').replace('"edf"', '"fixed"')
    text = text.replace("preemptive = false", "preemptive = true").replace('"wait"', '"drop"')
    text = re.sub(r'"suspend [^"]*", ', "", text)
    assume("suspend" not in text)
    taskset = parse_taskset(text)
    assume(all(task.priority is not None for task in taskset.system.tasks))
    done = simulate(taskset, seed=1, until_ns=SPAN)
    assert done.truth.deadlocks.is_empty()
    assert done.truth.third_parties.is_empty()
    assert not (done.truth.episodes["entry"] == "inversion").any()
    locks = [lock.name for lock in done.declared.locks]
    waits = done.events.filter((pl.col("event") == "wait") & pl.col("value").is_in(locks))
    assert waits.is_empty()
