"""Every measure that can be limited: a limit equal to the value passes, one step tighter fails,

and where part of the log is unknown the verdict is open. The values were worked out by hand from
the logs in `runs.py`; percentiles are by nearest rank (Hyndman and Fan 1996, type 1): of 100
values that rise by 1 the 95th is the 95th smallest.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path

import pytest

from tests.verdicts import runs
from tests.verdicts.runs import hundred, small
from tracelens.formats.budgets_text import number_text
from tracelens.formats.toml_schema import parse_toml
from tracelens.model.budgets import MEASURES, Measure, dotted
from tracelens.model.results import Timeline
from tracelens.model.verdicts import Verdict
from tracelens.reading import read
from tracelens.verdicts import judge

ROOT = Path(__file__).parents[2]
HAND_OVER = ROOT / "tests" / "micro" / "08_third_party_inversion.csv"
DEADLOCK = ROOT / "sample_traces" / "classroom" / "deadlock_none.csv"

ONE_MORE = "540 release t1\n540 start t1\n545 suspend t1\n546 start t0\n"
STILL_OPEN = "540 release t1\n540 start t1\n"
FALLING = "540 stack t1 400\n"
LATER = {"520 release t1\n520 start t1": "523 release t1\n523 start t1"}

LATE = """\
0 start t0
20 release t1
20 start t1
250 wait t1 delay
250 start t0
320 release t1
320 start t1
330 wait t1 delay
330 start t0
420 release t1
420 start t1
521 start t1
535 wait t1 delay
535 start t0
600 mark end
"""
"""`control`, due every 100 µs, swallows its activations at 120 and 220; the start at 521 while it
runs is where the job of 420 ended and the next, due at 520, began."""

LOGS: dict[str, Callable[[], Timeline]] = {
    "small": small,
    "small, gap": lambda: small(gap=True),
    "hundred": hundred,
    "hundred, gap": lambda: hundred(gap=True),
    "aborted": lambda: small(more=ONE_MORE),
    "open": lambda: small(more=STILL_OPEN),
    "late": lambda: runs.run(runs.HEAD, LATE),
    "falling": lambda: small(swap={"stack t1 400": "stack t1 450"}, more=FALLING),
    "jitter": lambda: small(swap=LATER),
    "jitter, gap": lambda: small(gap=True, swap=LATER),
    "no masks": lambda: small(swap={"mask t1 irq": "mark a", "un": "", "mask t1 sched": "mark a"}),
    "phase open": lambda: small(more="550 mark knit begin\n"),
    "contradiction": lambda: small(more="540 lock t2 m1\n"),
    "no leave": lambda: small(more="540 enter i1\n543 start t0\n"),
    "two boots": lambda: small(more="90000 mark a\n5 start t0\n"),
    "torn": lambda: small(more="540 levitate t1\n"),
    "third party": lambda: read(HAND_OVER),
    "third party, gap": lambda: third_party_with_gap(),
    "deadlock": lambda: read(DEADLOCK),
}


def third_party_with_gap() -> Timeline:
    from tracelens.log import read_bytes
    from tracelens.reconstruct import reconstruct

    text = HAND_OVER.read_text("utf-8")
    gap = "1080,0,lost,,2\n1084,0,start,t0,\n1090,0,mark,log_end"
    log = read_bytes(text.replace("1090,0,mark,log_end", gap).encode(), "run.csv")
    return reconstruct(log, log.declared)


@dataclass(frozen=True)
class Case:
    """`value` in the unit of the key; `doubt` is the log that leaves it open, '' if none can."""

    group: str
    name: str
    key: str
    value: float
    log: str
    doubt: str

    @property
    def measure(self) -> Measure:
        return MEASURES[self.group][self.key]

    @property
    def where(self) -> tuple[str, str, str]:
        return self.group, self.name or "log", self.key

    def limit(self, steps: int) -> str:
        """The value, or so many of the smallest steps tighter, as a number of TOML."""
        tighter = steps if self.measure.least else -steps
        if self.measure.unit == "us":
            return number_text(self.measure, round(self.value * 1000) + tighter)
        if self.measure.unit in ("share", "per_s"):
            toward = math.inf if tighter > 0 else -math.inf
            return repr(math.nextafter(self.value, toward) if tighter else self.value)
        return str(int(self.value) + tighter)


def statistics(group: str, name: str, series: str, values: dict[str, float]) -> list[Case]:
    return [
        Case(group, name, f"{series}_{statistic}_us", value, "hundred", "hundred, gap")
        for statistic, value in values.items()
    ]


def rising(first: int) -> dict[str, float]:
    """Statistics of 100 values that rise by 1."""
    return {
        "min": first,
        "mean": first + 49.5,
        "p50": first + 49,
        "p95": first + 94,
        "p99": first + 98,
        "max": first + 99,
    }


def case(group: str, name: str, key: str, value: float, doubt: str = "small, gap") -> Case:
    return Case(group, name, key, value, "small", doubt)


CASES = [
    *statistics("tasks", "control", "response", rising(211)),
    *statistics("tasks", "control", "execution", dict.fromkeys(("min", "mean", "max"), 210)),
    *statistics("tasks", "control", "start_latency", rising(1)),
    Case("tasks", "control", "release_jitter_max_us", 3, "jitter", "jitter, gap"),
    case("tasks", "control", "misses", 1),
    case("tasks", "control", "miss_run_max", 1),
    case("tasks", "control", "jobs_min", 6),
    Case("tasks", "control", "jobs_open_max", 1, "open", ""),
    case("tasks", "logger", "jobs_excluded_max", 1, ""),
    Case("tasks", "control", "jobs_aborted_max", 1, "aborted", ""),
    Case("tasks", "control", "jobs_inferred_max", 2, "late", ""),
    Case("tasks", "control", "hidden_max", 2, "late", ""),
    case("tasks", "control", "load_max", 111 / 600),
    case("tasks", "control", "stack_free_min_bytes", 400, "falling"),
    case("tasks", "control", "stack_headroom_min", 0.4, "falling"),
    case("tasks", "control", "inversion_max_us", 10),
    Case("tasks", "high", "inversion_unbounded_max_us", 18, "third party", "third party, gap"),
    case("cores", "main", "load_max", 254 / 600),
    case("cores", "main", "peak_load_max", 254 / 600),
    case("cores", "main", "isr_share_max", 5 / 600),
    case("cores", "main", "task_share_max", 242 / 600),
    case("cores", "main", "switching_share_max", 7 / 600),
    case("cores", "main", "idle_share_min", 336 / 600),
    case("cores", "main", "asleep_share_min", 10 / 600),
    Case("cores", "main", "unknown_share_max", 50 / 600, "small, gap", ""),
    case("cores", "main", "wakeups_per_s_max", 1e6 / 600),
    case("cores", "main", "irq_masked_max_us", 3, "no masks"),
    case("cores", "main", "sched_masked_max_us", 4, "no masks"),
    *statistics("isrs", "encoder", "run", dict.fromkeys(("min", "mean", "max"), 5)),
    *statistics("isrs", "encoder", "latency", rising(1)),
    case("isrs", "encoder", "runs_min", 1),
    case("isrs", "encoder", "runs_max", 1),
    case("isrs", "encoder", "load_max", 5 / 600),
    case("locks", "bus", "hold_mean_us", 14.667),
    case("locks", "bus", "hold_max_us", 24),
    case("locks", "bus", "own_max_us", 18),
    case("locks", "bus", "wait_max_us", 10),
    case("locks", "bus", "wait_total_max_us", 10),
    case("locks", "bus", "contentions_max", 1),
    case("locks", "bus", "holds_min", 3),
    Case("locks", "Y", "deadlocks_max", 1, "deadlock", ""),
    *statistics("queues", "rows", "item_wait", rising(12)),
    case("queues", "rows", "most_items_max", 1),
    case("queues", "rows", "fill_max", 1 / 4),
    case("queues", "rows", "sends_min", 2),
    case("queues", "rows", "receives_min", 2),
    *statistics("chains", "row", "latency", rising(221)),
    case("chains", "row", "misses", 1),
    case("chains", "row", "instances_min", 1),
    Case("log", "", "coverage_min", 550 / 600, "small, gap", ""),
    case("log", "", "duration_min_us", 600, ""),
    case("log", "", "events_min", 60, ""),
    Case("log", "", "lost_events_max", 2, "small, gap", ""),
    Case("log", "", "contradictions_max", 1, "contradiction", ""),
    Case("log", "", "repairs_max", 1, "no leave", ""),
    Case("log", "", "unused_lines_max", 1, "torn", ""),
    Case("log", "", "boots_max", 2, "two boots", ""),
    case("phases", "knit", "duration_max_us", 500, "phase open"),
    case("phases", "knit", "duration_min_us", 500, "phase open"),
    case("phases", "knit", "occurrences_min", 1, ""),
    Case("phases", "knit", "occurrences_max", 1, "small", ""),
]

ENOUGH = {
    *("jobs_min", "runs_min", "holds_min", "sends_min", "receives_min", "instances_min"),
    "asleep_share_min",
}
"""Least values of what adds up: what was seen is enough, so only a step more is open."""


@cache
def run(log: str) -> Timeline:
    return LOGS[log]()


@cache
def verdicts(log: str, column: str, steps: int) -> dict[tuple[str, str, str], Verdict]:
    """Every case of that log at once; `column` says whether it is its `log` or its `doubt`."""
    tables: dict[tuple[bool, str], list[str]] = {}
    for one in CASES:
        if getattr(one, column) == log:
            path = ["budgets", one.group, *([one.name] if one.name else [])]
            more = 1 if column == "doubt" and one.key in ENOUGH else 0
            line = f"{one.key} = {one.limit(steps + more)}"
            # In files of their own: a least value above the greatest one is a mistake in a file.
            tables.setdefault((one.measure.least, dotted(path)), []).append(line)
    found = {}
    for least in (True, False):
        text = "\n".join(
            "\n".join([f"[{table}]", *lines])
            for (of_least, table), lines in tables.items()
            if of_least == least
        )
        judged = judge(run(log), parse_toml(text, "budgets.toml").budgets, date(2026, 1, 1))
        found |= {(v.budget.group, v.name, v.budget.measure.key): v for v in judged.verdicts}
    return found


def test_every_measure_has_a_case() -> None:
    known = {(group, key) for group, measures in MEASURES.items() for key in measures}
    assert {(one.group, one.key) for one in CASES} == known


IDS = [f"{one.group}-{one.key}" for one in CASES]


@pytest.mark.parametrize("one", CASES, ids=IDS)
def test_a_limit_equal_to_the_value_passes(one: Case) -> None:
    found = verdicts(one.log, "log", 0)[one.where]
    assert found.outcome == "pass"
    assert found.margin == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("one", CASES, ids=IDS)
def test_a_limit_one_step_tighter_fails(one: Case) -> None:
    found = verdicts(one.log, "log", 1)[one.where]
    assert found.outcome == "fail"
    assert found.margin is not None and found.margin < 0
    if one.measure.unit != "share" and one.measure.unit != "per_s":
        assert found.margin == -1  # one nanosecond, one job, one byte


@pytest.mark.parametrize("one", [c for c in CASES if c.doubt], ids=lambda c: f"{c.group}-{c.key}")
def test_what_the_log_does_not_tell_is_unknown(one: Case) -> None:
    found = verdicts(one.doubt, "doubt", 0)[one.where]
    assert found.outcome == "unknown"
    assert found.why
