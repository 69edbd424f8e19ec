"""The fast reading held against the reference reading: where do they differ?"""

from collections import Counter, defaultdict
from typing import Any

import polars as pl

from tests.reference import Result, analyse_text
from tracelens.log import read_bytes
from tracelens.model.results import Timeline
from tracelens.reconstruct import reconstruct


def both(text: str, part_events: int = 0) -> tuple[Timeline, Result]:
    """One log read by both."""
    log = read_bytes(text.encode(), "log.csv")
    return reconstruct(log, part_events=part_events), analyse_text(text)


def differences(run: Timeline, truth: Result) -> list[str]:
    """One sentence for each row that only one of the two readings has."""
    found: list[str] = []
    for name, rows in _fast(run).items():
        mine, theirs = Counter(rows), Counter(_reference(truth)[name])
        found += [f"{name}: only fast: {row}" for row in (mine - theirs).elements()]
        found += [f"{name}: only reference: {row}" for row in (theirs - mine).elements()]
    return found


def _rows(frame: pl.DataFrame, *columns: str) -> list[tuple[Any, ...]]:
    return [_plain(row) for row in frame.select(columns).rows()]


def _plain(row: tuple[Any, ...]) -> tuple[Any, ...]:
    return tuple(tuple(value) if isinstance(value, list) else value for value in row)


def _fast(run: Timeline) -> dict[str, list[tuple[Any, ...]]]:
    judged = pl.col("status") != "excluded"
    jobs = run.jobs.select(
        "task", "release_ns", "start_ns", "end_ns", "status", "inferred", "hidden", "execution_ns"
    )
    excluded = run.jobs.filter(~judged).group_by("task").len().rows()
    return {
        "states": merged(
            _rows(run.task_states, "task", "start_ns", "end_ns", "state", "core", "waits_for"), 1
        ),
        "occupancy": merged(
            _rows(run.occupancy, "core", "start_ns", "end_ns", "occupant", "who"), 1
        ),
        "jobs": [_begun(_plain(row)) for row in jobs.filter(judged).rows()],
        "excluded": excluded,
        "ledgers": ledger_rows(run),
        "holds": _whole(
            _rows(run.holds, "lock", "task", "start_ns", "end_ns", "own_ns", "complete")
        ),
        "lock_waits": _rows(
            run.lock_waits, "lock", "wanted", "task", "start_ns", "end_ns", "spun", "owner"
        ),
        "inversions": inversion_rows(run),
        "deadlocks": [
            (at, tuple(sorted(tasks)), tuple(sorted(locks)))
            for at, tasks, locks in run.deadlocks.rows()
        ],
        "isr_runs": _rows(run.isr_runs, "isr", "core", "start_ns", "end_ns", "pend_ns", "complete"),
        "isr_time": _rows(run.isr_runs.filter("complete"), "isr", "core", "start_ns", "own_ns"),
        "queue_items": _rows(run.queue_items, "queue", "send_ns", "receive_ns"),
        "masks": _rows(run.masks, "core", "what", "start_ns", "end_ns"),
        "contradictions": _rows(
            run.contradictions, "line", "core", "ran", "acted", "start_ns", "end_ns"
        ),
    }


def _reference(truth: Result) -> dict[str, list[tuple[Any, ...]]]:
    number: Counter[str] = Counter()
    ledgers, excluded = [], Counter()
    for job in truth.jobs:
        number[job[0]] += 1
        if job[4] == "excluded":
            excluded[job[0]] += 1
            continue
        for (entry, by, via), ns in truth.ledgers[job[0], number[job[0]]].items():
            if ns:
                ledgers.append((job[0], job[1], job[3], entry, by, via, ns))
    return {
        "states": merged(truth.states, 1),
        "occupancy": merged(
            [
                (core, start, end, kind, None if kind == "idle" else who)
                for core, start, end, kind, who in truth.occupancy
            ],
            1,
        ),
        "jobs": [_begun(job) for job in truth.jobs if job[4] != "excluded"],
        "excluded": list(excluded.items()),
        "ledgers": ledgers,
        "holds": _whole(truth.holds),
        # Whether a wait that was released ended with the lock is defined differently: left out.
        "lock_waits": [(*row[:6], row[7]) for row in truth.lock_waits],
        "inversions": [(*row[:3], tuple(row[3]), *row[4:]) for row in truth.inversions],
        "deadlocks": [
            (at, tuple(sorted(tasks)), tuple(sorted(locks))) for at, tasks, locks in truth.deadlocks
        ],
        "isr_runs": [(*row[:4], *row[5:]) for row in truth.isr_runs],
        "isr_time": [(*row[:3], row[4]) for row in truth.isr_runs if row[6]],
        "queue_items": truth.queue_items,
        "masks": [(core, what, start, end) for core, what, _, start, end in truth.masks],
        "contradictions": truth.contradictions,
    }


def _begun(job: tuple[Any, ...]) -> tuple[Any, ...]:
    """A job; one that begins and ends in the same instant has no first start to compare."""
    return (*job[:2], None if job[2] == job[3] else job[2], *job[3:])


def _whole(holds: list[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    """Holds; of one cut short by a gap, how much the holder ran in it is not compared."""
    return [row if row[5] else (*row[:4], None, row[5]) for row in holds]


def ledger_rows(run: Timeline) -> list[tuple[Any, ...]]:
    """(task, release, end, entry, by, via, ns) of every judged, open or aborted job."""
    summed = run.episodes.group_by("job_id", "entry", "by", "via").agg(
        (pl.col("end_ns") - pl.col("start_ns")).sum().alias("ns")
    )
    jobs = run.jobs.filter(pl.col("status") != "excluded")
    return (
        summed.join(jobs, on="job_id")
        .select("task", "release_ns", pl.col("end_ns"), "entry", "by", "via", "ns")
        .rows()
    )


def inversion_rows(run: Timeline) -> list[tuple[Any, ...]]:
    """Inversions with their third parties, as the reference lists them."""
    parties: defaultdict[int, list[tuple[str, int]]] = defaultdict(list)
    for inversion, task, ns in run.third_parties.rows():
        parties[inversion].append((task, ns))
    return [
        (
            row["kind"],
            row["victim"],
            row["lock"],
            tuple(row["chain"]),
            row["start_ns"],
            row["end_ns"],
            row["holder_ns"],
            row["third_party_ns"],
            row["raised"],
            tuple(sorted(parties[row["inversion_id"]])),
        )
        for row in run.inversions.to_dicts()
    ]


def merged(rows: list[tuple[Any, ...]], at: int) -> list[tuple[Any, ...]]:
    """Intervals of one thing that touch and say the same, joined; row[at]: start, then end."""
    joined: list[tuple[Any, ...]] = []
    for row in sorted(rows, key=lambda r: (str(r[0]), r[at])):
        before = joined[-1] if joined else ()
        if before and (before[0], before[at + 1], *before[at + 2 :]) == (
            row[0],
            row[at],
            *row[at + 2 :],
        ):
            joined[-1] = (*before[: at + 1], row[at + 1], *row[at + 2 :])
        else:
            joined.append(row)
    return joined
