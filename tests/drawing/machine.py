"""A short run that has something for every panel: a cycle of 10 ms of the knitting machine.

Each cycle: carriage_encoder releases needle_select, which sends an item to solenoid; then the core
sleeps. In every fifth cycle archive holds flash_bus when needle_select wants it, and that
cycle is a phase `row`. The application marks its yarn tension, and the stack of needle_select.
"""

import tempfile
from functools import cache
from pathlib import Path

import tracelens
from tracelens.drawing.runs import Run, load
from tracelens.model.results import Analysis
from tracelens.report import json_

US, MS = 1_000, 1_000_000
CYCLES = 40

DECLARED = """\
#tracelens 1
#run name=machine build=k8
#clock hz=1000000 bits=64
#priority order=higher_first
#task id=t1 name=needle_select priority=6 deadline_us=450 stack_bytes=1024
#task id=t2 name=solenoid priority=4
#task id=t3 name=archive priority=1
#task id=t0 name=idle priority=0 idle=yes
#isr id=i1 name=carriage_encoder
#lock id=m1 name=flash_bus protocol=none
#queue id=q1 name=row_queue depth=4
time,core,event,subject,value
"""
SYSTEM = """\
[chains.stitch]
path = ["carriage_encoder", "needle_select", "solenoid"]
deadline_us = 450
"""
# (µs in the cycle, event, subject, value)
HELD = (
    (10, "release", "t3", ""), (10, "start", "t3", ""), (20, "lock", "t3", "m1"),
    (100, "enter", "i1", ""), (110, "release", "t1", "i1"), (120, "leave", "i1", ""),
    (122, "start", "t1", ""), (125, "mark", "row", "begin"), (130, "mark", "tension", "{tension}"),
    (140, "request", "t1", "m1"), (140, "wait", "t1", "m1"), (140, "start", "t3", ""),
    (300, "unlock", "t3", "m1"), (300, "release", "t1", ""), (300, "start", "t1", ""),
    (300, "lock", "t1", "m1"), (350, "unlock", "t1", "m1"),
    (400, "send", "t1", "q1"), (400, "release", "t2", "t1"), (600, "wait", "t1", "delay"),
    (602, "start", "t2", ""), (610, "receive", "t2", "q1"), (700, "wait", "t2", "q1"),
    (702, "start", "t3", ""), (800, "mark", "row", "end"), (900, "wait", "t3", "delay"),
    (905, "start", "t0", ""), (950, "sleep", "0", ""),
)  # fmt: skip
USUAL = (
    (100, "enter", "i1", ""), (110, "release", "t1", "i1"), (120, "leave", "i1", ""),
    (122, "start", "t1", ""), (130, "mark", "tension", "{tension}"),
    (140, "mark", "=stitch", ""), (150, "stack", "t1", "{free}"),
    (200, "send", "t1", "q1"), (200, "release", "t2", "t1"), (300, "wait", "t1", "delay"),
    (302, "start", "t2", ""), (310, "receive", "t2", "q1"), (400, "wait", "t2", "q1"),
    (405, "start", "t0", ""), (450, "sleep", "0", ""),
)  # fmt: skip


def log_text() -> str:
    """The log, 400 ms long."""
    lines = ["0,0,start,t0,"]
    for cycle in range(CYCLES):
        values = {"tension": f"{100 + cycle % 7 + cycle / 100}", "free": 800 - 5 * cycle}
        if cycle:
            lines.append(f"{cycle * 10_000},0,wake,0,")
        for at, event, subject, value in USUAL if cycle % 5 else HELD:
            told = value.format(**values)
            lines.append(f"{cycle * 10_000 + at},0,{event},{subject},{told}")
    lines += ["a torn line", f"{CYCLES * 10_000},0,wake,0,", f"{CYCLES * 10_000 + 5},0,lost,,3"]
    return DECLARED + "\n".join(lines) + "\n"


def write(folder: Path) -> tuple[Path, Path]:
    """The log and the system file that declares its chain."""
    log, system = folder / "machine.csv", folder / "machine.toml"
    log.write_text(log_text(), encoding="utf-8")
    system.write_text(SYSTEM, encoding="utf-8")
    return log, system


@cache
def analysis() -> Analysis:
    """The run, read and measured."""
    with tempfile.TemporaryDirectory() as folder:
        log, system = write(Path(folder))
        return tracelens.analyse(tracelens.read(log, system))


@cache
def run() -> Run:
    """The run as the page holds it."""
    return load(analysis())


@cache
def document() -> bytes:
    """The JSON report on the run."""
    return b"".join(json_.chunks(analysis()))
