"""Which one cause is behind the late jobs: their ledgers against what is usual, all together.

Of each late job the entries that have grown against their medians over the jobs in time share its
lateness in proportion to their growth. An entry is laid to what is behind it: execution and
interference to the task that runs, however it comes in; a wait for a lock to that lock and its
holder; lower tasks that run while a holder is held up to that lock as well. A job that waits for an
earlier one of its own is judged together with it. Without enough jobs in time
to know the usual, the entries count as they are.
"""

from collections import Counter, defaultdict
from dataclasses import dataclass
from math import fsum
from typing import Final

import numpy as np
import polars as pl

from tracelens.findings.thresholds import Limits
from tracelens.measures.usual import Key, Ledger, ledgers_of, median
from tracelens.model.results import Analysis

_MOST_LATE: Final = 400
_USUAL_JOBS: Final = 200
_LEAST_USUAL: Final = 5


@dataclass(frozen=True, slots=True)
class Cause:
    """What is behind an entry: `kind` task, isr, lock, priority, consumer, wait or kernel.

    `via` is what a task waits for, of kind 'wait'.
    """

    kind: str
    name: str
    via: str | None = None


@dataclass(frozen=True, slots=True)
class LateJob:
    """A late job, or the row of jobs that ends in it, with what it took and what is usual."""

    job_id: int
    task: str
    lateness_ns: int
    ledger: Ledger
    usual: Ledger | None
    members: int

    def growth(self) -> Ledger:
        """What each entry has taken beyond the usual, the most first; only what has grown."""
        usual = self.usual or {}
        grown = {key: ns - usual.get(key, 0) for key, ns in self.ledger.items()}
        return dict(sorted(((k, ns) for k, ns in grown.items() if ns > 0), key=lambda p: -p[1]))


@dataclass(frozen=True, slots=True)
class Blame:
    """The late jobs with their ledgers, and each cause's share of all lateness, most first."""

    late: dict[int, LateJob]
    shares: dict[Cause, float]
    explained: dict[Cause, Counter[str]]


def blame(analysis: Analysis, limits: Limits, grown: frozenset[str]) -> Blame:
    """Lay the lateness of all late jobs to causes. `grown` names what has grown in this run.

    Of very many late jobs, those latest against their deadline stand for all.
    """
    late = {one.job_id: one for one in _late_jobs(analysis)}
    credit: defaultdict[Cause, float] = defaultdict(float)
    explained: dict[Cause, Counter[str]] = {}
    for one in late.values():
        shares = _shares(analysis, one, limits, grown)
        weight = min(1.0, one.lateness_ns / max(1, _deadline(analysis, one.task)))
        for cause, share in shares.items():
            credit[cause] += share * weight
        if shares:
            first = max(shares, key=lambda cause: shares[cause])
            explained.setdefault(first, Counter())[one.task] += 1
    # Not `sum`, which rounds the numbers of the same log otherwise from Python 3.12 on.
    total = fsum(credit.values()) or 1
    ranked = sorted(credit, key=credit.__getitem__, reverse=True)
    return Blame(late, {cause: credit[cause] / total for cause in ranked}, explained)


def _late_jobs(analysis: Analysis) -> list[LateJob]:
    jobs = analysis.timeline.jobs
    rows = jobs.filter("late").with_columns(
        pl.col("task").cast(pl.String), lateness=pl.col("response_ns") - pl.col("deadline_ns")
    )
    worst = rows.sort("lateness", descending=True, maintain_order=True).unique(
        "task", keep="first", maintain_order=True
    )
    most = rows.sort(
        pl.col("lateness") / pl.col("deadline_ns"), descending=True, maintain_order=True
    ).head(_MOST_LATE)
    rows = pl.concat([worst, most]).unique("job_id", maintain_order=True)
    first = _row_begins(jobs, rows["job_id"].to_list())
    usual_ids = {task: _usual_ids(jobs, task) for task in rows["task"].unique().to_list()}
    wanted = [j for last, begin in first.items() for j in range(begin, last + 1)]
    ledgers = ledgers_of(
        analysis.timeline, sorted({*wanted, *(j for ids in usual_ids.values() for j in ids)})
    )
    usual = {
        task: median([ledgers[j] for j in ids]) if len(ids) >= _LEAST_USUAL else None
        for task, ids in usual_ids.items()
    }
    found = []
    for row in rows.select("job_id", "task", "lateness").to_dicts():
        job_id, task = row["job_id"], row["task"]
        members = range(first[job_id], job_id + 1)
        summed: Counter[Key] = Counter()
        for member in members:
            summed.update(ledgers[member])
        whole = {key: ns for key, ns in summed.items() if key[0] != "backlog"}
        is_usual = usual[task]
        scaled = (
            None if is_usual is None else {key: ns * len(members) for key, ns in is_usual.items()}
        )
        found.append(LateJob(job_id, task, row["lateness"], whole, scaled, len(members)))
    return found


def _row_begins(jobs: pl.DataFrame, late: list[int]) -> dict[int, int]:
    """For each late job the first of the jobs that were each released before the last one's end.

    At most `_LONGEST_ROW` back; `jobs` are by task, then release, and a job's id is not always its
    place, for the table may be cut.
    """
    ids = jobs["job_id"].to_numpy()
    task = jobs["task"].to_physical().to_numpy()
    release, end = jobs["release_ns"].to_numpy(), jobs["end_ns"].to_numpy()
    place = {int(job): int(k) for job, k in zip(late, np.searchsorted(ids, late), strict=True)}
    begins = {}
    for job, at in place.items():
        k = at
        while (
            k > 0
            and at - k < _LONGEST_ROW
            and task[k - 1] == task[at]
            and ids[k - 1] == ids[k] - 1
            and end[k - 1] > release[k]
        ):
            k -= 1
        begins[job] = int(ids[k])
    return begins


_LONGEST_ROW: Final = 50


def _usual_ids(jobs: pl.DataFrame, task: str) -> list[int]:
    timely = jobs.filter(
        (pl.col("task") == task) & (pl.col("status") == "complete") & ~pl.col("late")
    )["job_id"]
    step = -(-len(timely) // _USUAL_JOBS) or 1
    return timely.gather_every(step).to_list()


def _deadline(analysis: Analysis, task: str) -> int:
    found = analysis.tasks.filter(pl.col("task") == task)["deadline_ns"]
    return int(found[0] or 1) if len(found) else 1


def _shares(
    analysis: Analysis, one: LateJob, limits: Limits, grown: frozenset[str]
) -> dict[Cause, float]:
    """The causes of one late job with their shares of 1; what has grown in the run counts twice."""
    growth = one.growth()
    consumers = _consumers(analysis)
    out_of_order = _out_of_order(analysis, one.task, limits)
    amounts: Counter[Cause] = Counter()
    for key, ns in growth.items():
        cause = cause_of(key, one.task, consumers)
        if key[0] == "interference" and key[1] in out_of_order:
            cause = Cause("priority", one.task)
        amounts[cause] += ns * (2 if cause.name in grown else 1)
    total = sum(amounts.values()) or 1
    return {cause: ns / total for cause, ns in amounts.items()}


def cause_of(key: Key, task: str, consumers: dict[str, str]) -> Cause:
    """What is behind a ledger entry of a job of `task`; `consumers` empty the queues."""
    entry, by, via = key
    if entry == "execution":
        return Cause("task", task)
    if entry == "isr":
        return Cause("isr", by or "")
    if entry in ("blocked", "inversion") and via is not None:
        return Cause("lock", via)
    if entry in ("interference", "blocked", "deferred", "unranked") and by is not None:
        return Cause("task", by)
    if entry == "suspended":
        consumer = consumers.get(via or "")
        if consumer is not None and consumer != task:
            return Cause("consumer", consumer, via)
        return Cause("wait", task, via)
    return Cause("kernel", entry)


def _consumers(analysis: Analysis) -> dict[str, str]:
    """Queue → the task that its items activate."""
    system = analysis.timeline.system
    tasks = {task.activation: task.name for task in system.tasks if task.activation}
    found = {queue.name: tasks.get(queue.id) or tasks.get(queue.name) for queue in system.queues}
    return {queue: task for queue, task in found.items() if task is not None}


def _out_of_order(analysis: Analysis, task: str, limits: Limits) -> set[str]:
    """Tasks that `task` does not go before although their deadlines are far longer."""
    declared = {row["task"]: row for row in analysis.tasks.to_dicts()}
    own = declared.get(task)
    if own is None or own["priority"] is None or own["deadline_ns"] is None:
        return set()
    sign = -1 if analysis.timeline.system.order == "lower_first" else 1
    return {
        name
        for name, other in declared.items()
        if other["priority"] is not None
        and sign * other["priority"] >= sign * own["priority"]
        and (other["deadline_ns"] or 0) >= limits.order_ratio * own["deadline_ns"]
    }
