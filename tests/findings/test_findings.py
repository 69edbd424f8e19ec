"""What is found, how it is worded, and in which order; times in ns."""

import pytest

from tests.frames import timeline
from tracelens.analysis import analyse
from tracelens.findings import wording
from tracelens.findings.ranking import SEVERITIES
from tracelens.model.results import Finding
from tracelens.model.system import Chain, Queue, System, Task

MS = 1_000_000


def found(run) -> dict[str, Finding]:
    """Findings by kind; each kind once."""
    findings = analyse(run).findings
    assert len({finding.kind for finding in findings}) == len(findings)
    return {finding.kind: finding for finding in findings}


def job(**more) -> dict[str, list]:
    """One complete job of 'select': released at 8 s, 2.41 ms long, deadline 1.8 ms."""
    row = {
        "job_id": 0,
        "task": "select",
        "job": 17,
        "release_ns": 8000 * MS,
        "start_ns": 8000 * MS,
        "end_ns": 8000 * MS + 2_410_000,
        "status": "complete",
        "response_ns": 2_410_000,
        "deadline_ns": 1_800_000,
        "late": True,
    }
    return {column: [value] for column, value in (row | more).items()}


def episodes(*parts: tuple[str, str | None, str | None, int]) -> dict[str, list]:
    ends = [sum(part[3] for part in parts[: i + 1]) for i in range(len(parts))]
    return {
        "job_id": [0] * len(parts),
        "start_ns": [end - part[3] for end, part in zip(ends, parts, strict=True)],
        "end_ns": ends,
        **{c: [part[i] for part in parts] for i, c in enumerate(("entry", "by", "via"))},
    }


SELECT = System(tasks=(Task("t1", "select", priority=6, deadline_ns=1_800_000),))


@pytest.mark.parametrize(
    ("parts", "culprit"),
    [
        (
            [("execution", "select", None, 1_400_000), ("interference", "fetch", None, 1_010_000)],
            "the largest part of what held it up, 1.01 ms, is fetch running at a priority no lower",
        ),
        (
            [("blocked", "fetch", "flash", 410_000), ("inversion", "panel", "flash", 2 * MS)],
            "the largest part of what held it up, 2.00 ms, is panel running although it is lower "
            "and has no part in flash",
        ),
        (
            [("execution", "select", None, 1_900_000), ("isr", "tick", None, 510_000)],
            "its own execution alone took 1.90 ms",
        ),
    ],
)
def test_a_deadline_miss_names_its_culprit(parts, culprit):
    run = timeline(span_ns=9000 * MS, system=SELECT, jobs=job(), episodes=episodes(*parts))
    finding = found(run)["deadline_miss"]
    assert (finding.severity, finding.subject, finding.at_ns) == ("error", "select", 8000 * MS)
    assert finding.text == (
        "select missed its deadline of 1.80 ms in 1 of 1 job. The worst, job 17, released at "
        f"8.000000 s, took 2.41 ms: 610 µs too long; {culprit}."
    )
    assert finding.numbers["lateness_ns"] == 610_000


def test_a_job_that_is_still_open_and_late():
    run = timeline(
        span_ns=9000 * MS,
        system=SELECT,
        jobs=job(status="open", end_ns=9000 * MS, response_ns=1000 * MS),
        episodes=episodes(("blocked", "fetch", "flash", 1000 * MS)),
    )
    assert found(run)["open_late_job"].text == (
        "Job 17 of select, released at 8.000000 s, was not complete when the log ended 1.00 s "
        "later; its deadline is 1.80 ms; the largest part of what held it up, 1.00 s, is waiting "
        "for fetch, which holds flash."
    )
    assert "deadline_miss" not in found(run)


def test_a_response_close_to_the_deadline():
    run = timeline(span_ns=9000 * MS, system=SELECT, jobs=job(response_ns=1_700_000, late=False))
    assert found(run)["near_deadline"].text == (
        "select met every deadline, but its longest response, 1.70 ms, is 94.4 % of its deadline "
        "of 1.80 ms."
    )
    run = timeline(span_ns=9000 * MS, system=SELECT, jobs=job(response_ns=1_400_000, late=False))
    assert "near_deadline" not in found(run)


def inversion(**more) -> dict[str, list]:
    row = {
        "inversion_id": 0,
        "kind": "direct",
        "victim": "select",
        "lock": "flash",
        "chain": ["archive"],
        "start_ns": 10 * MS,
        "end_ns": 14 * MS,
        "holder_ns": MS,
        "third_party_ns": 3 * MS,
        "raised": False,
    }
    return {column: [value] for column, value in (row | more).items()}


def test_an_unbounded_inversion_names_the_third_party():
    run = timeline(
        span_ns=20 * MS,
        system=SELECT,
        inversions=inversion(),
        third_parties={
            "inversion_id": [0, 0],
            "task": ["link", "panel"],
            "ns": [MS, 2 * MS],
        },
    )
    finding = found(run)["unbounded_inversion"]
    assert finding.severity == "warning"
    assert finding.text == (
        "Unbounded priority inversion: select waited for flash once while lower tasks that have no "
        "part in it ran. The worst, at 0.010000 s, lasted 4.00 ms, of which panel took 2.00 ms; "
        "nothing bounds that."
    )


def test_a_bounded_inversion_counts_from_a_share_of_the_deadline_on():
    # 10 % of 1.8 ms is 0.18 ms.
    long = inversion(third_party_ns=0, end_ns=10 * MS + 180_000)
    short = inversion(third_party_ns=0, end_ns=10 * MS + 179_999)
    finding = found(timeline(span_ns=20 * MS, system=SELECT, inversions=long))["bounded_inversion"]
    assert finding.severity == "note"
    assert "180 µs at 0.010000 s, 10.0 % of its deadline" in finding.text
    assert "bounded_inversion" not in found(
        timeline(span_ns=20 * MS, system=SELECT, inversions=short)
    )


@pytest.mark.parametrize(
    ("holder_ns", "said"),
    [
        (4 * MS, "Its critical section bounds it."),
        (MS, "The holder ran only 1.00 ms of that: its critical section does not bound the rest."),
        (0, "The holder ran none of that time: its critical section does not bound the rest."),
    ],
)
def test_a_critical_section_bounds_only_what_the_holder_runs(holder_ns, said):
    """A holder that waits for something else in its section holds the victim up without a bound."""
    held = inversion(third_party_ns=0, holder_ns=holder_ns)
    finding = found(timeline(span_ns=20 * MS, system=SELECT, inversions=held))["bounded_inversion"]
    assert finding.text.endswith(said)


def test_contention_that_is_no_inversion():
    wait = {
        "lock": ["flash"],
        "wanted": ["flash"],
        "task": ["select"],
        "start_ns": [MS],
        "end_ns": [2 * MS],
        "owner": ["boss"],
    }
    run = timeline(span_ns=20 * MS, system=SELECT, lock_waits=wait)
    assert found(run)["contention"].text == (
        "select waited 1.00 ms for flash from 0.001000 s on, 55.6 % of its deadline; boss owned it."
    )
    same = inversion(third_party_ns=0, start_ns=MS, end_ns=2 * MS)
    run = timeline(span_ns=20 * MS, system=SELECT, lock_waits=wait, inversions=same)
    assert "contention" not in found(run)
    elsewhere = inversion(third_party_ns=0)
    run = timeline(span_ns=20 * MS, system=SELECT, lock_waits=wait, inversions=elsewhere)
    assert "contention" in found(run)


def test_a_deadlock():
    run = timeline(
        span_ns=20 * MS,
        deadlocks={"at_ns": [MS], "tasks": [["a", "b"]], "locks": [["x", "y"]]},
    )
    assert found(run)["deadlock"].text == (
        "Deadlock at 0.001000 s: a and b wait for each other's locks (x and y), and none of them "
        "can go on."
    )


def test_queues_at_their_depth_and_near_it():
    system = System(
        queues=(Queue("q1", "rows", 8), Queue("q2", "keys", 10), Queue("q3", "flag", 1))
    )
    levels = {"queue": ["rows", "keys", "flag"], "at_ns": [5, 6, 7], "items": [8, 8, 1]}
    kinds = found(timeline(span_ns=10, system=system, queue_levels=levels))
    assert kinds["queue_full"].text.startswith("Queue rows was full, 8 of 8, at 0.000000 s")
    assert kinds["queue_nearly_full"].text == "Queue keys held 8 of 10 items at 0.000000 s."


@pytest.mark.parametrize(
    ("free", "kind", "text"),
    [
        (0, "stack_exhausted", "The stack of a was used up: no byte of it was left free."),
        (199, "stack_thin", "The stack of a had 199 bytes of 1000 left at its lowest, 19.9 %."),
        (200, None, ""),
    ],
)
def test_thin_stacks(free, kind, text):
    system = System(tasks=(Task("t1", "a", stack_bytes=1000),))
    kinds = found(timeline(span_ns=100, system=system, events=f"10,0,stack,t1,{free}"))
    assert (kinds[kind].text if kind else "") == text
    assert bool({"stack_thin", "stack_exhausted"} & kinds.keys()) == bool(kind)


def test_a_stack_that_still_grows():
    events = "10,0,stack,t1,500\n90,0,stack,t1,400"
    assert found(timeline(span_ns=100, events=events, system=System(tasks=(Task("t1", "a"),))))[
        "stack_falling"
    ].text == (
        "The stack of a still grew in the last third of the run: the 400 bytes left are no bound."
    )


@pytest.mark.parametrize(
    ("busy", "kind", "spare"),
    [
        (70, None, ""),
        (71, "core_load", "29.0 %"),
        (90, "core_load", "10.0 %"),
        (91, "core_full", "9.00 %"),
    ],
)
def test_core_load_thresholds(busy, kind, spare):
    run = timeline(
        span_ns=100,
        occupancy={
            "core": [0, 0],
            "start_ns": [0, busy],
            "end_ns": [busy, 100],
            "occupant": ["switching", "idle"],
        },
    )
    kinds = found(run)
    assert {"core_load", "core_full"} & kinds.keys() == ({kind} if kind else set())
    if kind:
        told = f"The load of core 0 is {busy}.0 %: {spare} is to spare."
        assert kinds[kind].text == told


@pytest.mark.parametrize(("task", "told"), [("t0", True), ("idle", False)])
def test_a_full_core_in_a_log_that_names_no_idle_task_says_so(task, told):
    run = timeline(
        span_ns=100,
        system=System(tasks=(Task("t0", task),)),
        occupancy={"core": [0], "start_ns": [0], "end_ns": [100], "occupant": ["task"]},
    )
    text = found(run)["core_full"].text
    assert text.endswith("No task is declared idle: if one of them is, say idle=yes.") == told


def test_damage_is_told():
    run = timeline(
        span_ns=100,
        lost_events=5,
        unused={"reason": ["no such event"], "count": [2], "first_lines": [["7", "9"]]},
        warnings=("A sentence about the clock.",),
        occupancy={
            "core": [0, 0],
            "start_ns": [0, 90],
            "end_ns": [90, 100],
            "occupant": ["idle", "unknown"],
        },
        contradictions={"line": [33], "ran": ["a"], "acted": ["b"], "start_ns": [90]},
        repairs={"line": [40, 41], "reason": ["an ISR without leave"] * 2},
    )
    texts = {kind: finding.text for kind, finding in found(run).items()}
    assert texts["lost_events"].startswith("The log lacks 5 events")
    assert "in line 33: b acts while a runs" in texts["contradictions"]
    assert texts["coverage"] == "What the cores did is known for 90.0 % of their time only."
    assert texts["unused_lines"] == "2 lines not used: no such event (first at line 7)."
    assert texts["repairs"] == "Mended in 2 places: an ISR without leave (first at line 40)."
    assert texts["log_warning"] == "A sentence about the clock."


def test_what_nobody_declared():
    system = System(
        tasks=(Task("t1", "select"), Task("t0", "idle")),
        chains=(Chain("stitch", ("edge", "select")),),
        unknown=(((0, 4), "colour=red"),),
    )
    run = timeline(
        span_ns=9000 * MS,
        system=system,
        jobs=job(deadline_ns=None, late=False, hidden=2),
        occupancy={
            "core": [0],
            "start_ns": [0],
            "end_ns": [1],
            "occupant": ["task"],
            "who": ["select"],
        },
    )
    texts = {kind: finding.text for kind, finding in found(run).items()}
    assert texts["no_deadline"].startswith("No deadline is declared for select:")
    assert texts["no_priority"].startswith("The priority of select is not known:")
    assert texts["hidden_activations"].startswith("Jobs of select hide 2 further activations:")
    assert "few_jobs" not in texts  # for nobody asks when select is late
    assert texts["unseen_chain"] == (
        "Chain stitch (edge → select) has no complete instance in this run."
    )
    assert texts["unknown_declarations"] == (
        "Not known to the log format, and not used: colour=red (line 4)."
    )


def test_percentiles_of_few_jobs():
    run = timeline(span_ns=9000 * MS, system=SELECT, jobs=job(late=False))
    assert found(run)["few_jobs"].text == (
        "Fewer than 100 jobs of select were judged: the 99th percentile is then the largest value."
    )


def test_errors_come_first_then_warnings_then_notes():
    run = timeline(
        span_ns=9000 * MS,
        system=SELECT,
        lost_events=1,
        jobs=job(),
        episodes=episodes(("execution", "select", None, 2_410_000)),
        deadlocks={"at_ns": [MS], "tasks": [["a", "b"]], "locks": [["x", "y"]]},
    )
    kinds = [finding.kind for finding in analyse(run).findings]
    assert kinds == ["deadlock", "deadline_miss", "lost_events", "coverage", "few_jobs"]
    ranks = [SEVERITIES.index(finding.severity) for finding in analyse(run).findings]
    assert ranks == sorted(ranks)


def test_a_full_core_has_nothing_to_spare():
    said = [wording.core_load("main", load, load, load, None) for load in (1.0, 0.9998, 0.998)]
    assert said == [
        "The load of core main is 100 %: nothing is to spare.",
        "The load of core main is >99.9 %: next to nothing is to spare.",
        "The load of core main is 99.8 %: 0.20 % is to spare.",
    ]
