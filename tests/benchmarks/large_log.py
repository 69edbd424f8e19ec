"""A log of any number of events: one cycle of a machine, repeated.

Twelve tasks and two handlers on two cores, with locks, a queue and self-suspension. All work is
constant and all periods divide the cycle, at whose ends both cores are idle; so the repetition is
what the machine would really do.
"""

from pathlib import Path

import polars as pl

from tracelens.engine.simulate import simulate
from tracelens.formats.taskset_toml import read_taskset
from tracelens.log import render_declarations
from tracelens.model.events import HEADER

CYCLE_NS = 40_000_000

_HEAD = """
[clock]
hz = 1_000_000
bits = 64
[priority]
order = "higher_first"
[kernel]
switch_us = 3
[cores.motion]
id = 0
[cores.service]
id = 1
[locks.flash_bus]
protocol = "inherit"
[locks.yarn_adc]
protocol = "none"
[queues.row_queue]
depth = 8
[isrs.carriage_encoder]
priority = 3
core = 0
every = 1000
body = ["run 7"]
[isrs.link_rx]
priority = 2
core = 1
every = 5000
body = ["run 9"]
"""

_TASKS = (
    # name, priority, core, period in µs, body
    ("needle_select", 12, 0, 2000, '"run 90", "lock flash_bus", "run 40", "unlock flash_bus"'),
    ("yarn_tension", 11, 0, 4000, '"run 120", "suspend 90", "run 80"'),
    ("row_sender", 10, 0, 5000, '"run 60", "send row_queue", "run 30"'),
    ("heater", 9, 0, 10000, '"run 110", "lock yarn_adc", "run 50", "unlock yarn_adc"'),
    ("cam_watch", 8, 0, 8000, '"run 70"'),
    ("pattern_fetch", 7, 1, 10000, '"run 200", "lock flash_bus", "run 90", "unlock flash_bus"'),
    ("link", 6, 1, 4000, '"run 80"'),
    ("panel", 5, 1, 20000, '"run 900"'),
    ("lamp", 4, 1, 5000, '"run 40"'),
    ("statistics", 3, 1, 20000, '"run 300", "lock yarn_adc", "run 60", "unlock yarn_adc"'),
    (
        "archive",
        2,
        1,
        40000,
        '"run 400", "lock flash_bus", "run 700", "unlock flash_bus", "run 200"',
    ),
)


def task_set_text() -> str:
    """The machine as a task-set file."""
    tasks = "".join(
        f"[tasks.{name}]\npriority = {priority}\ncore = {core}\nperiod_us = {period}\n"
        f"offset_us = 1000\ndeadline_us = {period}\nbody = [{body}]\n"
        for name, priority, core, period, body in _TASKS
    )
    worker = (
        '[tasks.row_worker]\npriority = 6\ncore = 1\nactivation = "row_queue"\n'
        'deadline_us = 5000\nbody = ["run 150"]\n'
    )
    return _HEAD + tasks + worker


def write_large_log(path: Path, events: int, damaged_share: float = 0.0) -> int:
    """Write a log of at least `events` events, a share of its lines torn; returns how many."""
    definition = path.with_suffix(".toml")
    definition.write_text(task_set_text())
    run = simulate(read_taskset(definition), until_ns=4 * CYCLE_NS)
    cycle = run.events.filter(pl.col("time_ns").is_between(CYCLE_NS, 2 * CYCLE_NS, closed="left"))
    lines = cycle.select(
        tick=pl.col("time_ns") // 1000,
        rest=pl.concat_str(
            pl.lit(","),
            pl.col("core").cast(pl.String),
            pl.lit(","),
            pl.col("event").cast(pl.String),
            pl.lit(","),
            pl.col("subject").cast(pl.String).fill_null(""),
            pl.lit(","),
            pl.col("value").cast(pl.String).fill_null(""),
        ),
    )
    cycles = -(-events // lines.height)
    with path.open("wb") as file:
        head = [*render_declarations(run.declared), HEADER]
        file.write(("\n".join(head) + "\n").encode())
        step = 2000
        for first in range(0, cycles, step):
            count = min(step, cycles - first)
            shifted = pl.DataFrame({"cycle": range(first, first + count)}).join(lines, how="cross")
            text = shifted.select(
                (pl.col("tick") + pl.col("cycle") * (CYCLE_NS // 1000)).cast(pl.String)
                + pl.col("rest")
            )
            if damaged_share:
                every = round(1 / damaged_share)
                row = pl.int_range(pl.len())
                torn = pl.first().str.slice(0, 9)
                text = text.select(
                    pl.when(row % every == every // 2).then(torn).otherwise(pl.first())
                )
            text.write_csv(file, include_header=False, quote_style="never")
    return cycles * lines.height
