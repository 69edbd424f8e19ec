"""Redaction: nothing is left that somebody named, and the log reads the same."""

import re
from pathlib import Path

import polars as pl
import pytest

from tests.random_logs import random_log
from tracelens import cutting
from tracelens.log import read_bytes
from tracelens.measures.ledgers import ledger
from tracelens.reading import read
from tracelens.reconstruct import reconstruct

ROOT = Path(__file__).parents[2]

NEUTRAL = r"(task|isr|lock|queue|core|mark|word|mode)_\d+|[tilq]\d+"
FORMAT = frozenset(
    re.findall(
        r"\w+",
        """
    tracelens run clock hz bits late_us priority order higher_first lower_first policy name fixed
    edf round_robin task id period_us separation_us offset_us deadline_us stack_bytes activation
    core idle yes isr lock protocol none inherit ceiling queue depth note text cut from to s the
    first events put system into its state time event subject value activate start preempt wait
    release terminate suspend arrive finish enter leave pend mask unmask request unlock send
    receive stack sleep wake mark lost delay irq sched begin end
    """,
    )
)


def foreign(text: str) -> set[str]:
    """Words of a log that are neither the format's own nor neutral."""
    words = set(re.findall(r"[A-Za-z_][\w.-]*", text))
    return {word for word in words - FORMAT if not re.fullmatch(NEUTRAL, word.strip(".;"))}


@pytest.mark.parametrize("name", ["knitting_inversion", "knitting_full_queue"])
def test_no_name_is_left_and_the_late_job_reads_the_same(name):
    run = read(ROOT / "sample_traces" / f"{name}.csv")
    aim = cutting.around_miss(run, 1)
    piece = cutting.cut_out(run, aim, redact=True)
    assert foreign(piece.text.decode()) == set()
    job = run.jobs.row(aim.jobs[0], named=True)
    small = reconstruct(read_bytes(piece.text, "small.csv", strict=True))
    found = small.jobs.filter(
        (pl.col("release_ns") == job["release_ns"] - piece.start_ns) & pl.col("late")
    )
    amounts = [
        reading.select(pl.col("entry").cast(pl.String), "ns").rows()
        for reading in (
            ledger(job["job_id"], run.episodes),
            ledger(found["job_id"].item(), small.episodes),
        )
    ]
    assert sorted(amounts[0]) == sorted(amounts[1])


@pytest.mark.parametrize("seed", range(6))
def test_random_logs_lose_every_name(seed):
    text = random_log(seed, events=300, cores=2)
    run = reconstruct(read_bytes(text.encode(), "random.csv"))
    aim = cutting.between(run, run.span_ns // 3, run.span_ns // 2)
    piece = cutting.cut_out(run, aim, redact=True)
    assert foreign(piece.text.decode()) == set()
    assert foreign(text) != set()


LOG = """#tracelens 1
#run build=secret
#clock hz=1000000 bits=32
#priority order=higher_first
#task id=7 name=secret_task priority=7 deadline_us=10
#task id=idle name=Idle_secret
#vendor key=secret
#note text="secret note"
#core id=0 name=secret_core
time,core,event,subject,value
0,0,start,7,
5,0,wait,7,secret_word
5,0,start,idle,
20,0,release,7,secret_cause
21,0,start,7,
22,0,priority,7,7
23,0,mark,secret_task,7
25,0,mark,secret_phase,begin
30,0,stack,7,400
32,0,send,7,secret_queue
35,0,wait,7,secret_word
35,0,start,idle,
36,0,sleep,secret_mode,
40,0,wake,secret_mode,
"""


def test_numbers_stay_and_words_go_by_their_part():
    run = reconstruct(read_bytes(LOG.encode(), "secret.csv"))
    small = cutting.cut_out(run, cutting.between(run, 0, 40_000), redact=True).text.decode()
    assert "secret" not in small.lower()
    events = small[small.index("time,") :].splitlines()[1:]
    assert events[1] == "5,0,wait,t1,word_1"
    assert "20,0,release,t1,word_2" in events
    assert "22,0,priority,t1,7" in events
    assert "23,0,mark,mark_1,7" in events
    assert "25,0,mark,mark_2,begin" in events
    assert "30,0,stack,t1,400" in events
    assert "32,0,send,t1,q1" in events
    assert "36,0,sleep,mode_1," in events
    # What was an idle task by its name is one by its declaration.
    assert "name=task_2 idle=yes" in small
