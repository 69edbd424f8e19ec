"""Core and task load on runs drawn by hand; times in ns."""

import pytest

from tests.frames import assert_columns, assert_table, timeline
from tracelens.measures.load import cores, load_by_name, load_windows, totals
from tracelens.measures.sleep import sleep
from tracelens.model.measured import CORE_LOAD, LOAD_WINDOWS
from tracelens.model.system import Core, System, Task

SYSTEM = System(
    tasks=(Task("t1", "work"), Task("t2", "urgent"), Task("t0", "idle")),
    cores=(Core(0, "main"), Core(1, "1"), Core(2, "spare")),
)

# core 0:  0 idle 10 work 30 isr 40 work 50 switching 52 idle 60 unknown 80 asleep 100
# core 1:  0 unknown 50 work 75 idle 100
RUN = timeline(
    span_ns=100,
    system=SYSTEM,
    occupancy={
        "core": [0] * 8 + [1] * 3,
        "start_ns": [0, 10, 30, 40, 50, 52, 60, 80, 0, 50, 75],
        "end_ns": [10, 30, 40, 50, 52, 60, 80, 100, 50, 75, 100],
        "occupant": [
            *("idle", "task", "isr", "task", "switching", "idle", "unknown", "asleep"),
            *("unknown", "task", "idle"),
        ],
        "who": [None, "work", "tick", "work", None, None, None, None, None, "work", None],
    },
)
WHOLE = ((0, 100),)


def measured(run=RUN, windows=WHOLE, peak_window_ns=20):
    spent = totals(run.occupancy)
    return cores(run, spent, sleep(run, spent, windows), windows, peak_window_ns)


def test_load_bounds_and_shares():
    # core 0: busy 20+10+10+2 = 42 of 80 known; idle and asleep 38. With the unknown 20 idle
    # 42/100, with it busy 62/100. core 1: 25 of 50; 25/100, 75/100. core 2 was never seen.
    assert_table(
        measured(),
        CORE_LOAD,
        {
            "core": [0, 1, 2],
            "name": ["main", "1", "spare"],
            "load": [42 / 80, 25 / 50, None],
            "load_low": [0.42, 0.25, 0.0],
            "load_high": [0.62, 0.75, 1.0],
            "isr": [0.10, 0.0, 0.0],
            "task": [0.30, 0.25, 0.0],
            "idle": [0.18, 0.25, 0.0],
            "asleep": [0.20, 0.0, 0.0],
            "switching": [0.02, 0.0, 0.0],
            "unknown": [0.20, 0.5, 1.0],
        },
    )


def test_peak_over_a_window_and_over_a_run_that_is_shorter():
    # Over 20 ns core 0 is busy throughout [10, 30) first; core 1 in [50, 70), but [40, 60) is half
    # known already and all of that is busy. Over the whole run the windows are half known.
    assert_columns(
        measured(),
        {
            "peak_window_ns": [20] * 3,
            "peak_load": [1.0, 1.0, None],
            "peak_at_ns": [10, 40, None],
        },
    )
    assert_columns(
        measured(peak_window_ns=1000),
        {
            "peak_window_ns": [100] * 3,
            "peak_load": [42 / 80, 25 / 50, None],
            "peak_at_ns": [0, 0, None],
        },
    )


def test_task_load_is_of_the_known_time_of_the_core_that_it_ran_on():
    # work: 30 of 80 on core 0, 25 of 50 on core 1.
    loads = load_by_name(totals(RUN.occupancy)).sort("name")
    assert_columns(
        loads,
        {"name": ["tick", "work"], "occupied_ns": [10, 55], "load": [10 / 80, 30 / 80 + 25 / 50]},
    )


def test_loads_of_who_ran_and_switching_add_up_to_the_core():
    # Only core 0: 42/80 = tick 10/80 + work 30/80 + switching 2/80.
    on_first = RUN.occupancy.filter(core=0)
    parts = load_by_name(totals(on_first))["load"].sum()
    assert parts + 2 / 80 == pytest.approx(42 / 80)


def test_rows_in_any_order_give_the_same():
    mixed = RUN.occupancy.sample(fraction=1.0, shuffle=True, seed=3)
    shuffled = timeline(span_ns=100, system=SYSTEM, occupancy=mixed.to_dict(as_series=False))
    assert measured(shuffled).equals(measured())


def test_load_over_windows():
    # core 0: [0, 20) busy 10 of 20; [50, 70) busy 2 of 10 known; [60, 80) unknown.
    # core 1: unknown, then busy 20 of 20, then 15 of 20.
    assert_table(
        load_windows(RUN.occupancy, ((0, 20), (50, 70), (60, 80))),
        LOAD_WINDOWS,
        {
            "core": [0] * 9 + [1] * 6,
            "who": [None] * 3 + ["tick"] * 3 + ["work"] * 3 + [None] * 3 + ["work"] * 3,
            "start_ns": [0, 50, 60] * 5,
            "end_ns": [20, 70, 80] * 5,
            "load": [
                *(0.5, 0.2, None, 0.0, 0.0, None, 0.5, 0.0, None),
                *(None, 1.0, 0.75, None, 1.0, 0.75),
            ],
        },
    )


def test_a_run_without_time_has_no_load():
    table = measured(timeline(span_ns=0, system=SYSTEM), windows=())
    assert_columns(table, {"load": [None] * 3, "load_low": [None] * 3, "peak_load": [None] * 3})
