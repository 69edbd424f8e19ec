"""Each detector of what is about to go wrong: a run in which it speaks, one in which it does not.

The second run differs from the first in what the detector asks, and in little else.
"""

from pathlib import Path

import numpy as np
import pytest

from tests.frames import timeline
from tracelens.analysis import analyse
from tracelens.errors import SystemFileError, UsageError
from tracelens.findings.ranking import find
from tracelens.findings.thresholds import Limits
from tracelens.model.results import Finding, Timeline
from tracelens.model.system import Isr, Lock, Queue, System, Task
from tracelens.reading import read

ROOT = Path(__file__).parents[2]
US, MS = 1_000, 1_000_000
SPAN = 1000 * MS

HIGH = Task("h", "high", priority=9, deadline_ns=10 * MS)
LOW = Task("l", "low", priority=1, deadline_ns=100 * MS)
TWO = System(order="higher_first", tasks=(HIGH, LOW), locks=(Lock("m", "bus"), Lock("n", "ram")))


def jobs(task: Task, execution: list[int], response: list[int] | None = None) -> dict[str, list]:
    """Complete jobs, one each SPAN / n."""
    count = len(execution)
    release = [SPAN // count * k for k in range(count)]
    response = response or execution
    return {
        "job_id": list(range(count)),
        "task": [task.name] * count,
        "job": list(range(1, count + 1)),
        "release_ns": release,
        "start_ns": release,
        "end_ns": [begin + took for begin, took in zip(release, response, strict=True)],
        "status": ["complete"] * count,
        "execution_ns": execution,
        "response_ns": response,
        "deadline_ns": [task.deadline_ns] * count,
        "late": [took > (task.deadline_ns or took) for took in response],
    }


def execution(*took_ms: float) -> Timeline:
    return timeline(span_ns=SPAN, system=TWO, jobs=jobs(HIGH, [round(ms * MS) for ms in took_ms]))


def sections(*took_ms: float) -> Timeline:
    """Holds of `bus` by `low` with so much own execution each; `high` uses it, too."""
    begin = [10 * MS * k for k in range(len(took_ms) + 1)]
    own = [MS // 10, *(round(ms * MS) for ms in took_ms)]
    return timeline(
        span_ns=SPAN,
        system=TWO,
        holds={
            "lock": ["bus"] * len(own),
            "task": ["high"] + ["low"] * len(took_ms),
            "start_ns": begin,
            "end_ns": [a + b for a, b in zip(begin, own, strict=True)],
            "own_ns": own,
            "complete": [True] * len(own),
        },
    )


def interrupts(*begins_us: int, took_us: int = 10) -> Timeline:
    starts = [us * US for us in begins_us]
    ends = [start + took_us * US for start in starts]
    return timeline(
        span_ns=SPAN,
        system=System(isrs=(Isr("i", "edge"),)),
        isr_runs={
            "isr": ["edge"] * len(starts),
            "start_ns": starts,
            "end_ns": ends,
            "own_ns": [took_us * US] * len(starts),
            "complete": [True] * len(starts),
        },
        occupancy={
            "core": [0] * (2 * len(starts)),
            "start_ns": [t for pair in zip(starts, ends, strict=True) for t in pair],
            "end_ns": [t for pair in zip(ends, [*starts[1:], SPAN], strict=True) for t in pair],
            "occupant": ["isr", "idle"] * len(starts),
            "who": ["edge", None] * len(starts),
        },
    )


def stack(*free: int) -> Timeline:
    lines = (f"{SPAN // len(free) * k},0,stack,h,{left}" for k, left in enumerate(free))
    return timeline(span_ns=SPAN, system=TWO, events="\n".join(lines))


def responses(*took_us: int) -> Timeline:
    took = [us * US for us in took_us]
    return timeline(span_ns=SPAN, system=TWO, jobs=jobs(HIGH, [MS] * len(took), took))


def queue(*levels: int) -> Timeline:
    return timeline(
        span_ns=SPAN,
        system=System(queues=(Queue("q", "rows", 40),)),
        queue_levels={
            "queue": ["rows"] * len(levels),
            "at_ns": [SPAN // len(levels) * k for k in range(len(levels))],
            "items": list(levels),
        },
    )


def releases(*stray_us: int) -> Timeline:
    task = Task("h", "high", period_ns=10 * MS)
    table = jobs(task, [MS] * 100)
    table["release_ns"] = [10 * MS * k + us * US for k, us in enumerate(stray_us)]
    return timeline(span_ns=SPAN, system=System(tasks=(task,)), jobs=table)


def ready(task: str, ms: int, meanwhile: str) -> Timeline:
    """`task` is ready for so long while another has the core."""
    return timeline(
        span_ns=SPAN,
        system=TWO,
        task_states={
            "task": [task, task],
            "start_ns": [0, ms * MS],
            "end_ns": [ms * MS, SPAN],
            "state": ["ready", "running"],
        },
        occupancy={
            "core": [0, 0],
            "start_ns": [0, ms * MS],
            "end_ns": [ms * MS, SPAN],
            "occupant": ["task", "task"],
            "who": [meanwhile, task],
        },
    )


def nested(*held: tuple[str, str, int, int]) -> Timeline:
    """(task, lock, from ms, to ms)."""
    tasks, locks, starts, ends = (list(column) for column in zip(*held, strict=True))
    return timeline(
        span_ns=SPAN,
        system=TWO,
        holds={
            "task": tasks,
            "lock": locks,
            "start_ns": [ms * MS for ms in starts],
            "end_ns": [ms * MS for ms in ends],
            "complete": [True] * len(tasks),
        },
    )


def held_while_waiting(what: str) -> Timeline:
    return timeline(
        span_ns=SPAN,
        system=TWO,
        holds={
            "lock": ["bus", "bus"],
            "task": ["low", "high"],
            "start_ns": [0, 100 * MS],
            "end_ns": [50 * MS, 101 * MS],
        },
        task_states={
            "task": ["low"],
            "start_ns": [10 * MS],
            "end_ns": [40 * MS],
            "state": ["waiting"],
            "waits_for": [what],
        },
    )


def priorities(of_high: int, of_low: int) -> Timeline:
    system = System(
        order="higher_first",
        tasks=(
            Task("h", "high", priority=of_high, deadline_ns=10 * MS),
            Task("l", "low", priority=of_low, deadline_ns=100 * MS),
        ),
    )
    both = {
        column: one + other
        for (column, one), other in zip(
            jobs(HIGH, [MS] * 4).items(), jobs(LOW, [2 * MS] * 4).values(), strict=True
        )
    }
    both["job_id"] = list(range(8))
    return timeline(span_ns=SPAN, system=system, jobs=both)


def mask(us: int) -> Timeline:
    return timeline(
        span_ns=SPAN,
        system=TWO,
        masks={"what": ["irq"], "who": ["low"], "start_ns": [0], "end_ns": [us * US]},
    )


def late(*causes: str) -> Timeline:
    """Jobs of `high`, six in time and the others late by the one that ran before them."""
    count = 6 + len(causes)
    table = jobs(HIGH, [MS] * count, [2 * MS] * 6 + [12 * MS] * len(causes))
    others = ["fetch"] * 6 + list(causes)
    begins = table["release_ns"]
    return timeline(
        span_ns=SPAN,
        system=System(
            order="higher_first",
            tasks=(HIGH, *(Task(name, name, priority=9) for name in ("fetch", "store"))),
        ),
        jobs=table,
        episodes={
            "job_id": [k for k in range(count) for _ in (0, 1)],
            "start_ns": [t for k, a in enumerate(begins) for t in (a, table["end_ns"][k] - MS)],
            "end_ns": [
                t for k in range(count) for t in (table["end_ns"][k] - MS, table["end_ns"][k])
            ],
            "entry": ["interference", "execution"] * count,
            "by": [name for other in others for name in (other, "high")],
        },
    )


MILLISECOND_GRID = tuple(range(0, 1_000_000, 1000))
STORM = tuple(sorted({*MILLISECOND_GRID, *range(400_000, 450_000, 20)}))
RISING = tuple(1000 + 40 * k for k in range(100))
SWINGING = tuple(1000 + 40 * (k * 37 % 100) for k in range(100))
CASES: list[tuple[str, str, Timeline, Timeline]] = [
    ("execution_grew", "high", execution(*[1] * 10, *[3] * 10), execution(*[1, 3] * 10)),
    ("execution_grew", "high", execution(*[1] * 10, *[3] * 4, *[1] * 6), execution(*[1, 1, 3] * 7)),
    ("long_job", "high", execution(*[1] * 19, 4), execution(*[1] * 19, 2.9)),
    ("long_execution", "high", execution(*[5] * 4), execution(*[4.9] * 4)),
    ("section_grew", "bus", sections(*[0.2] * 10, *[2] * 10), sections(*[0.2, 2] * 10)),
    ("single_section", "bus", sections(*[0.2] * 19, 2), sections(*[0.2] * 19, 0.5)),
    ("long_section", "bus", sections(5), sections(4.9)),
    ("interrupt_storm", "edge", interrupts(*STORM), interrupts(*MILLISECOND_GRID)),
    (
        "interrupt_load",
        "edge",
        interrupts(*MILLISECOND_GRID, took_us=200),
        interrupts(*MILLISECOND_GRID, took_us=99),
    ),
    # Ten bytes with each mark, against ever rarer records as n random values have them.
    ("stack_drift", "high", stack(*range(500, 300, -10)), stack(500, 450, 430, 425, *[424] * 16)),
    ("response_drift", "high", responses(*RISING), responses(*SWINGING)),
    ("queue_drift", "rows", queue(*np.arange(120) // 6), queue(*(k % 20 for k in range(120)))),
    (
        "jitter_drift",
        "high",
        releases(*(k * 40 * (k % 2) for k in range(100))),
        releases(*(4000 * (k % 2) for k in range(100))),
    ),
    ("starvation", "high", ready("high", 11, "low"), ready("high", 9, "low")),
    ("deferral", "high", ready("high", 2, "low"), ready("low", 20, "high")),
    (
        "lock_order",
        "bus",
        nested(
            ("high", "bus", 0, 9),
            ("high", "ram", 3, 6),
            ("low", "ram", 10, 19),
            ("low", "bus", 13, 16),
        ),
        nested(
            ("high", "bus", 0, 9),
            ("high", "ram", 3, 6),
            ("low", "bus", 10, 19),
            ("low", "ram", 13, 16),
        ),
    ),
    (
        # Nobody can close the cycle but the task itself.
        "lock_order",
        "bus",
        nested(
            ("low", "bus", 0, 9),
            ("low", "ram", 3, 6),
            ("high", "ram", 20, 29),
            ("high", "bus", 23, 26),
        ),
        nested(
            ("low", "bus", 0, 9),
            ("low", "ram", 3, 6),
            ("low", "ram", 20, 29),
            ("low", "bus", 23, 26),
        ),
    ),
    ("held_asleep", "bus", held_while_waiting("delay"), held_while_waiting("ram")),
    ("priority_order", "high", priorities(1, 9), priorities(9, 1)),
    ("masked_long", "low", mask(1000), mask(999)),
    ("main_cause", "store", late(*["store"] * 3), late("store")),
]


def of_kind(run: Timeline, kind: str) -> list[Finding]:
    return [finding for finding in analyse(run).findings if finding.kind == kind]


@pytest.mark.parametrize(
    ("kind", "subject", "bad", "good"), CASES, ids=[f"{k}-{n}" for n, (k, *_) in enumerate(CASES)]
)
def test_a_detector_speaks_and_is_silent(
    kind: str, subject: str, bad: Timeline, good: Timeline
) -> None:
    assert [finding.subject for finding in of_kind(bad, kind)] == [subject]
    assert of_kind(good, kind) == []


@pytest.mark.parametrize(
    ("kind", "run", "severity"),
    [
        ("execution_grew", execution(*[1] * 10, *[3] * 10), "warning"),
        ("execution_grew", execution(*[0.1] * 10, *[0.3] * 10), "note"),  # 2 % of its deadline
        ("long_job", execution(*[1] * 19, 4), "note"),
        ("section_grew", sections(*[0.1] * 10, *[0.2] * 10), "note"),
        ("interrupt_load", interrupts(*MILLISECOND_GRID, took_us=200), "warning"),
        ("interrupt_load", interrupts(*MILLISECOND_GRID, took_us=150), "note"),
        ("priority_order", priorities(1, 9), "warning"),
        ("priority_order", priorities(5, 5), "note"),
    ],
)
def test_what_does_not_matter_to_a_deadline_is_a_note(
    kind: str, run: Timeline, severity: str
) -> None:
    assert [finding.severity for finding in of_kind(run, kind)] == [severity]


def test_a_forecast_says_when() -> None:
    # The stack: 190 bytes in 1 s, 310 are left. The response: 40 µs each 10 ms, to 10 ms.
    (falling,) = of_kind(stack(*range(500, 300, -10)), "stack_drift")
    assert falling.text == (
        "The stack of high is used up steadily: from 500 to 310 free bytes in this run. At this "
        "rate none is left 1.63 s after the end of this log."
    )
    (growing,) = of_kind(responses(*RISING), "response_drift")
    assert "At this rate it reaches its deadline of 10.0 ms 1.25 s after" in growing.text


def test_the_late_jobs_name_what_grew_and_not_what_is_always_there() -> None:
    cause, miss = analyse(late(*["store"] * 3)).findings[:2]
    assert cause.text == (
        "The execution of store explains most of what was late: it comes first in 3 of 3 late "
        "jobs: high (3)."
    )
    assert miss.text.endswith(
        "what has grown most is store running at a priority no lower: 11.0 ms, usually nothing."
    )


def test_thresholds_can_be_replaced_by_name() -> None:
    analysis = analyse(mask(999))

    def kinds(given: dict[str, float]) -> set[str]:
        return {finding.kind for finding in find(analysis, given)}

    assert "masked_long" not in kinds({})
    assert "masked_long" in kinds({"hold_up_share": 0.05})
    with pytest.raises(UsageError, match="no such threshold: found hold_up, expected one of"):
        find(analysis, {"hold_up": 0.05})


def test_every_threshold_says_where_it_comes_from() -> None:
    assert all(len(source) > 10 for source in Limits.sources().values())


def test_a_system_file_replaces_thresholds(tmp_path: Path) -> None:
    log = ROOT / "sample_traces" / "knitting_inversion.csv"
    limits = tmp_path / "limits.toml"
    limits.write_text("[budgets.findings]\ncore_load = 0.95\n")
    kinds = {one.kind for one in analyse(read(log)).findings}
    raised = {one.kind for one in analyse(read(log, limits)).findings}
    assert kinds - raised == {"core_load"}
    limits.write_text("[budgets.findings]\ncoreload = 0.95\n")
    with pytest.raises(UsageError, match="no such threshold: found coreload"):
        analyse(read(log, limits))
    limits.write_text('[budgets.findings]\ncore_load = "low"\n')
    with pytest.raises(SystemFileError, match=r'core_load: found "low", expected a number'):
        read(log, limits)
