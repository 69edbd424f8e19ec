"""Charge and current of a run, against sums that can be done by hand."""

from dataclasses import replace

import pytest

from tests.replay.again import simulated
from tracelens.analysis import analyse
from tracelens.errors import SystemFileError
from tracelens.formats import system_toml
from tracelens.formats.toml_schema import parse_toml
from tracelens.model.system import Power, System
from tracelens.replay import parse, replay

# 1 ms of work every 10 ms, then sleep: ten jobs in 100 ms.
BEACON = """
[priority]
order = "higher_first"
[kernel]
sleep = true
[tasks.beacon]
priority = 1
period_us = 10000
deadline_us = 5000
body = ["run 1000"]
"""
POWER = Power(active_ma=10, idle_ma=5, sleep_ma=0.1, wake_uc=2, fixed_ma=2, battery_mah=100)


def beacon(power=POWER):
    run = simulated(BEACON, until_ns=100_000_000)
    return replace(run, system=replace(run.system, power=power))


def test_charge_by_hand():
    """10 mA × 10 ms = 100 µC, 0.1 mA × 90 ms = 9 µC, and nine wake-ups of 2 µC each."""
    found = analyse(beacon())
    charge = dict(found.charges.select("name", "charge_uc").iter_rows())
    assert charge == pytest.approx({"beacon": 100, "sleep": 9, "wake-ups": 18})
    task = found.charges.filter(found.charges["name"] == "beacon").to_dicts()[0]
    assert (task["jobs"], task["wakeups"]) == (10, 9)
    assert task["per_job_uc"] == pytest.approx(10)
    assert found.charges["share"].sum() == pytest.approx(1)
    whole = found.power.to_dicts()[0]
    assert whole["average_ma"] == pytest.approx(127 / 100)  # µC / ms is mA
    assert whole["battery_h"] == pytest.approx(100 / 1.27)


def test_a_sleep_mode_has_its_own_current():
    run = beacon(replace(POWER, modes={"stop": 0.5}))
    events = run.log.events
    named = events.with_columns(
        subject=events["subject"].cast(str).replace("0", "stop").cast(events["subject"].dtype)
    )
    run = replace(run, log=replace(run.log, events=named))
    charge = dict(analyse(run).charges.select("name", "charge_uc").iter_rows())
    assert charge["sleep stop"] == pytest.approx(45)


def test_without_currents_there_is_nothing():
    found = analyse(beacon(None))
    assert found.power.is_empty()
    assert found.charges.is_empty()


def test_a_slower_clock_draws_less_while_it_works_longer():
    """At half the clock 2 + 8 / 2 = 6 mA for 2 ms of every 10."""
    told = replay(beacon(), [parse("clock", "0.5")])
    before, then = told.power
    assert before.average_ma == pytest.approx(1.27)
    assert then.average_ma == pytest.approx((6 * 20 + 0.1 * 80 + 18) / 100)


def test_fewer_wake_ups_save_charge():
    before, then = replay(beacon(), [parse("period", "beacon=20ms")]).power
    assert (before.wakeups, then.wakeups) == (9, 4)
    assert then.battery_h > before.battery_h


def test_from_a_system_file():
    text = "[power]\nactive_ma = 10\nidle_ma = 5\nwake_uc = 2\n[power.modes]\nstop = 0.5\n"
    power = system_toml.apply(System(), parse_toml(text)).power
    assert power == Power(active_ma=10, idle_ma=5, wake_uc=2, modes={"stop": 0.5})


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("idle_ma = 1", "power: "),
        ("active_ma = -1\nidle_ma = 1", "power.active_ma: found -1, expected 0 or more"),
        ("active_ma = 1\nidle_ma = 1\nfixed_ma = 2", "power.fixed_ma: found 2"),
        ("active_ma = 1\nidle_ma = 1\nsleeping_ma = 1", "did you mean sleep_ma"),
    ],
)
def test_mistakes(text, problem):
    with pytest.raises(SystemFileError, match=problem):
        system_toml.apply(System(), parse_toml(f"[power]\n{text}\n"))
