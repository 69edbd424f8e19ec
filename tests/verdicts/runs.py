"""Small logs whose measures were worked out by hand, and the same with a gap in them.

Times are µs from the first event. Where a gap is asked for, records are lost while the core was
idle: nothing that was seen changes, but nobody knows what is missing.
"""

from collections.abc import Mapping
from functools import cache

import numpy as np

from tracelens.formats.system_toml import apply
from tracelens.formats.toml_schema import parse_toml
from tracelens.log import read_bytes
from tracelens.model.results import Timeline
from tracelens.reconstruct import reconstruct

HEAD = """\
#tracelens 1
#clock hz=1000000 bits=32
#priority order=higher_first
#core id=0 name=main
#task id=t0 name=idle priority=0 idle=yes
#task id=t1 name=control priority=3 period_us=100 deadline_us=40 stack_bytes=1000
#task id=t2 name=logger priority=1 deadline_us=200 activation=q1
#isr id=i1 name=encoder priority=1
#lock id=m1 name=bus protocol=none
#queue id=q1 name=rows depth=4
time,core,event,subject,value
"""

SMALL = """\
0 start t0
0 mark knit begin
10 pend i1
12 enter i1
17 leave i1
20 release t1
22 start t1
25 mask t1 irq
28 unmask t1 irq
29 mask t1 sched
33 unmask t1 sched
34 stack t1 400
35 send t1 q1
36 release t2
40 wait t1 delay
41 start t2
43 receive t2 q1
45 lock t2 m1
60 unlock t2 m1
70 wait t2 q1
71 start t0
80 sleep 0
90 wake 0
120 release t1
121 start t1
131 wait t1 delay
131 start t0
220 release t1
221 start t1
225 send t1 q1
226 release t2
230 wait t1 delay
231 start t2
233 receive t2 q1
310 request t2 m1
310 lock t2 m1
320 release t1
320 start t1
324 request t1 m1
324 wait t1 m1
326 start t2
334 unlock t2 m1
334 release t1
335 start t1
335 lock t1 m1
340 unlock t1 m1
345 wait t1 delay
346 start t2
350 wait t2 q1
351 start t0
420 release t1
420 start t1
470 wait t1 delay
470 start t0
500 mark knit end
520 release t1
520 start t1
530 wait t1 delay
530 start t0
"""
"""`control`, every 100 µs: responses of 20, 11, 10, 25, 50 (late) and 10 µs. `logger` takes its
items of 35 and 225 µs until 70 and 350, and holds the bus from 45 to 60 and from 310 to 334, so
that `control` waits for it from 324 on."""

CHAIN = '[chains.row]\npath = ["control", "logger"]\ndeadline_us = 100\n'

GAP = "560 lost - 2\n580 start t0\n"
END = "600 mark end\n"


def small(gap: bool = False, *, swap: Mapping[str, str] | None = None, more: str = "") -> Timeline:
    """The small log; `swap` replaces texts of it, `more` are further events before its end."""
    return _small(gap, tuple((swap or {}).items()), more)


@cache
def _small(gap: bool, swap: tuple[tuple[str, str], ...], more: str) -> Timeline:
    head, events = HEAD, SMALL
    for old, new in swap:
        assert old in head + events
        head, events = head.replace(old, new), events.replace(old, new)
    chain = CHAIN if "name=logger" in head else ""
    return run(head, events + more + (GAP if gap else "") + END, chain)


@cache
def hundred(gap: bool = False, count: int = 100) -> Timeline:
    """So many periods of 1000 µs; in the i-th the handler enters i µs after its request,

    `control` starts i µs after its release (at 200) and ends at 410 + i, `logger` gets its item
    (sent at 400) at 411 + i and ends at 420 + i.
    """
    lines = ["0 start t0"]
    for i in range(1, count + 1):
        base = 1000 * i
        lines += [
            f"{base} pend i1",
            f"{base + i} enter i1",
            f"{base + i + 5} leave i1",
            f"{base + 200} release t1",
            f"{base + 200 + i} start t1",
            f"{base + 400} send t1 q1",
            f"{base + 400} release t2",
            f"{base + 410 + i} wait t1 delay",
            f"{base + 411 + i} start t2",
            f"{base + 411 + i} receive t2 q1",
            f"{base + 420 + i} wait t2 q1",
            f"{base + 421 + i} start t0",
        ]
    if gap:
        lines += [f"{1000 * count + 700} lost - 3", f"{1000 * count + 710} start t0"]
    lines.append(f"{1000 * count + 900} mark end")
    head = HEAD.replace("period_us=100 deadline_us=40", "period_us=1000 deadline_us=1000")
    return run(head, "\n".join(lines) + "\n", CHAIN.replace("100", "1000"))


def text(head: str, events: str) -> str:
    """The log of events written `time event subject value`, on core 0."""
    rows = []
    for line in events.splitlines():
        time, event, subject, *value = line.split()
        rows.append(f"{time},0,{event},{subject},{value[0] if value else ''}")
    return head + "\n".join(rows) + "\n"


def run(head: str, events: str, system: str = "") -> Timeline:
    """The run of such events."""
    log = read_bytes(text(head, events).encode(), "run.csv")
    declared = apply(log.declared, parse_toml(system, "system.toml"))
    return reconstruct(log, declared)


def numbers(values: list[int]) -> np.ndarray:
    """Numbers of jobs, as the measures take them."""
    return np.array(values, np.int64)
