"""A run of one queue of depth 4 whose level goes 0 1 2 1 … as a list of (µs, change) says."""

import tempfile
from collections.abc import Sequence
from pathlib import Path

import tracelens
from tracelens.drawing.runs import Run, load

HEAD = """\
#tracelens 1
#clock hz=1000000 bits=64
#priority order=higher_first
#core id=0 name=main
#task id=t1 name=feeder priority=2
#queue id=q1 name=yarn depth=4
#queue id=q2 name=spare depth=2
time,core,event,subject,value
0,0,start,t1,
"""


def run(changes: Sequence[tuple[int, int]], end_us: int) -> Run:
    """`changes` are (µs, +1 or −1) in order of time."""
    lines = [f"{at},0,{'send' if by > 0 else 'receive'},t1,q1" for at, by in changes]
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "queue.csv"
        log.write_text(HEAD + "\n".join([*lines, f"{end_us},0,mark,end,"]) + "\n")
        return load(tracelens.analyse(tracelens.read(log)))
