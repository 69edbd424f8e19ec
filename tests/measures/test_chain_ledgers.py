"""Where the latency of a chain's instance went: logs drawn by hand, in µs, worked out on paper."""

from dataclasses import replace

import polars as pl
import pytest

from tracelens.analysis import analyse
from tracelens.log import read_bytes
from tracelens.measures.chain_ledgers import chain_ledger
from tracelens.model.system import Chain
from tracelens.reconstruct import reconstruct

HEAD = """#tracelens 1
#clock hz=1000000 bits=32
#priority order=higher_first
#task id=t1 name=select priority=5 activation=delay
#task id=t2 name=drive priority=4 activation=q1
#task id=t3 name=guard priority=9 activation=delay
#isr id=i1 name=encoder
#isr id=i2 name=tick
#queue id=q1 name=rows
time,core,event,subject,value
0,0,start,t3,
0,0,wait,t3,delay
0,0,start,t1,
0,0,wait,t1,delay
0,0,start,t2,
0,0,wait,t2,q1
"""
# encoder runs from 10 to 20, with tick inside from 12 to 15; it releases select at 18.
# select starts at 22, sends at 40 and ends at 50; guard takes the core from 30 to 37.
# drive has its item from 40 on, starts at 53, receives at 54, ends at 70.
LOG = """10,0,enter,i1,
12,0,enter,i2,
15,0,leave,i2,
18,0,release,t1,i1
20,0,leave,i1,
22,0,start,t1,
25,0,mark,chosen,
30,0,release,t3,
30,0,start,t3,
37,0,wait,t3,delay
37,0,start,t1,
40,0,send,t1,q1
40,0,release,t2,t1
50,0,wait,t1,delay
53,0,start,t2,
54,0,receive,t2,q1
60,0,mark,driven,
70,0,wait,t2,q1
80,0,mark,idle_again,
"""


def analysis_of(*path, deadline_us=None, log=LOG):
    read = read_bytes((HEAD + log).encode(), "hand.csv")
    deadline = None if deadline_us is None else deadline_us * 1000
    system = replace(read.declared, chains=(Chain("stitch", path, deadline),))
    return analyse(reconstruct(read, system))


def rows(ledger):
    told = ledger.select("stage", pl.col("entry").cast(pl.String), "by", "via", pl.col("ns") / 1000)
    return told.rows()


def test_the_entries_of_each_stage():
    analysis = analysis_of("encoder", "select", "drive", deadline_us=50)
    # encoder's part is [10, 18): 2 before the tick, 3 in it, 3 after. select's is [18, 40): until
    # 20 the encoder is still there, until 22 nobody, 22-30 and 37-40 it runs. drive's: [40, 70).
    assert rows(analysis.chain_ledgers) == [
        ("encoder", "execution", "encoder", None, 5),
        ("encoder", "isr", "tick", None, 3),
        ("select", "execution", "select", None, 11),
        ("select", "interference", "guard", None, 7),
        ("select", "isr", "encoder", None, 2),
        ("select", "switching", None, None, 2),
        ("drive", "execution", "drive", None, 17),
        ("drive", "interference", "select", None, 10),
        ("drive", "switching", None, None, 3),
    ]
    assert analysis.chain_ledgers["ns"].sum() == analysis.chain_instances["latency_ns"].item()
    assert analysis.chain_ledgers["from_ns"].unique(maintain_order=True).to_list() == [
        10_000,
        18_000,
        40_000,
    ]


def test_from_the_end_of_a_stage_to_the_begin_of_the_next_it_is_hand_over():
    # The release is written at 28, by nobody's hand but naming the encoder, after the handler.
    late = LOG.replace("18,0,release,t1,i1\n", "").replace("22,0,start,t1,", "28,0,start,t1,")
    late = late.replace("25,0,mark", "28,0,mark").replace(
        "28,0,start", "28,0,release,t1,i1\n28,0,start"
    )
    ledger = analysis_of("encoder", "select", log=late).chain_ledgers
    assert rows(ledger.filter(pl.col("stage") == "encoder")) == [
        ("encoder", "hand_over", None, None, 8),
        ("encoder", "execution", "encoder", None, 7),
        ("encoder", "isr", "tick", None, 3),
    ]
    assert ledger["ns"].sum() == 40_000


@pytest.mark.parametrize("prefix", ["", "mark:"])
def test_from_mark_to_mark_the_job_that_wrote_the_first_is_followed_until_it_ends(prefix):
    # chosen at 25, written by select's job, which ends at 50; driven at 60.
    ledger = analysis_of(f"{prefix}chosen", f"{prefix}driven").chain_ledgers
    assert rows(ledger) == [
        (f"{prefix}chosen", "execution", "select", None, 18),
        (f"{prefix}chosen", "hand_over", None, None, 10),
        (f"{prefix}chosen", "interference", "guard", None, 7),
    ]


def test_a_mark_outside_of_any_job_hands_over_at_once():
    log = LOG + "85,0,mark,last,\n"
    ledger = analysis_of("mark:idle_again", "mark:last", log=log).chain_ledgers
    assert rows(ledger) == [("mark:idle_again", "hand_over", None, None, 5)]


def test_a_mark_of_a_tasks_name_is_told_by_its_prefix():
    log = LOG.replace("mark,driven", "mark,drive")
    instances = analysis_of("encoder", "mark:drive", log=log).chain_instances
    assert instances["end_ns"].to_list() == [60_000]


def test_only_late_instances_and_the_slowest_are_kept_but_each_can_be_asked_for():
    again = "".join(
        f"{int(line.split(',', 1)[0]) + 200},{line.split(',', 1)[1]}\n" for line in LOG.splitlines()
    )
    slower = again.replace("270,0,wait,t2", "275,0,wait,t2")
    analysis = analysis_of("select", "drive", log=LOG + slower)
    assert analysis.chain_instances["latency_ns"].to_list() == [52_000, 57_000]
    assert analysis.chain_ledgers["instance"].unique().to_list() == [2]
    for instance, latency in ((1, 52_000), (2, 57_000)):
        assert chain_ledger(analysis, "stitch", instance)["ns"].sum() == latency
    assert chain_ledger(analysis, "stitch", 3).is_empty()


def test_from_a_mark_to_the_next_of_the_same_word():
    log = LOG + "85,0,mark,idle_again,\n97,0,mark,idle_again,\n"
    instances = analysis_of("mark:idle_again", "mark:idle_again", log=log).chain_instances
    assert instances["latency_ns"].to_list() == [5_000, 12_000]
