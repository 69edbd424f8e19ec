"""A run of a flat-bed knitting machine: a cycle of 10 ms, repeated as often as wanted.

In every even cycle archive holds flash_bus when needle_select wants it, and link, which needs no
lock, keeps archive from giving it back: needle_select is late. In odd cycles nobody is in the way.
One task has a name that would be a tag if a page took it for one.
"""

import tempfile
from functools import cache
from pathlib import Path

import tracelens
from tracelens.drawing.runs import Run, load
from tracelens.model.results import Analysis

US, MS = 1_000, 1_000_000
CYCLE = 10 * MS
TAG = "<script>alert(1)</script>"

DECLARED = f"""\
#tracelens 1
#run name=knitting build=k7
#clock hz=1000000 bits=64
#priority order=higher_first
#core id=0 name=main
#task id=t1 name=needle_select priority=6 period_us=10000 deadline_us=1800
#task id=t2 name=link priority=4 period_us=10000
#task id=t3 name=archive priority=1 period_us=10000 deadline_us=10000
#task id=t4 name={TAG} priority=3
#task id=t0 name=idle priority=0 idle=yes
#isr id=i1 name=carriage_encoder
#lock id=m1 name=flash_bus protocol=none
time,core,event,subject,value
"""
# (µs in the cycle, event, subject, value)
LATE = (
    (0, "release", "t3", ""), (0, "start", "t3", ""), (200, "lock", "t3", "m1"),
    (1000, "release", "t1", ""), (1000, "start", "t1", ""),
    (1300, "request", "t1", "m1"), (1300, "wait", "t1", "m1"), (1300, "start", "t3", ""),
    (1500, "release", "t2", ""), (1500, "start", "t2", ""),
    (3500, "wait", "t2", "delay"), (3500, "start", "t3", ""),
    (3600, "enter", "i1", ""), (3650, "leave", "i1", ""),
    (3800, "unlock", "t3", "m1"), (3800, "release", "t1", ""), (3800, "start", "t1", ""),
    (3800, "lock", "t1", "m1"), (4000, "unlock", "t1", "m1"),
    (4200, "wait", "t1", "delay"), (4200, "start", "t3", ""),
    (4900, "wait", "t3", "delay"), (4910, "start", "t0", ""),
    (7000, "enter", "i1", ""), (7040, "leave", "i1", ""),
    (9000, "release", "t4", ""), (9500, "suspend", "t4", ""),
)  # fmt: skip
MET = (
    (0, "release", "t3", ""), (0, "start", "t3", ""),
    (1000, "release", "t1", ""), (1000, "start", "t1", ""),
    (1700, "wait", "t1", "delay"), (1700, "start", "t3", ""),
    (2000, "release", "t2", ""), (2000, "start", "t2", ""),
    (4000, "wait", "t2", "delay"), (4000, "start", "t3", ""),
    (4900, "wait", "t3", "delay"), (4910, "start", "t0", ""),
)  # fmt: skip


def log_text(cycles: int) -> str:
    """The log, `cycles` × 10 ms long, beginning in the idle task."""
    lines = ["0,0,start,t0,"]
    for cycle in range(cycles):
        for at, event, subject, value in MET if cycle % 2 else LATE:
            lines.append(f"{cycle * 10_000 + at},0,{event},{subject},{value}")
    lines.append(f"{cycles * 10_000},0,mark,log_end,")
    return DECLARED + "\n".join(lines) + "\n"


@cache
def analysis(cycles: int = 6, word: str = "", instead: str = "") -> Analysis:
    """The run, read and measured; with a word of its log replaced by another."""
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "knitting.csv"
        log.write_text(log_text(cycles).replace(word, instead), encoding="utf-8")
        return tracelens.analyse(tracelens.read(log))


@cache
def run(cycles: int = 6, word: str = "", instead: str = "") -> Run:
    """The run as the page holds it."""
    return load(analysis(cycles, word, instead))


def job_of(task: str, number: int, cycles: int = 6) -> int:
    """The id of a task's job."""
    jobs = run(cycles).analysis.timeline.jobs
    return jobs.filter(task=task, job=number)["job_id"].item()
