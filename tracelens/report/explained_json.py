"""An explanation as one JSON document; `explain-1.schema.json` describes its keys.

Times are microseconds as numbers, moments from the first event; names, never ids.
"""

from typing import Any, Final

import msgspec
import polars as pl

from tracelens.explanation import wording
from tracelens.explanation.records import (
    Backlog,
    Explanation,
    Holder,
    Job,
    Predecessor,
    Row,
    Shorter,
    Story,
    Usual,
    Wait,
    Without,
)
from tracelens.model.system import Place
from tracelens.units import NS_PER_US, ns_to_us

SCHEMA: Final = "tracelens.explain/1"


def encode(told: Explanation) -> bytes:
    """The document, UTF-8, one key a line, ending in a line feed."""
    lines = [f'"{key}":'.encode() + msgspec.json.encode(value) for key, value in _keys(told)]
    return b"{" + b",\n".join(lines) + b"}\n"


def _keys(told: Explanation) -> list[tuple[str, Any]]:
    job = told.job
    return [
        ("schema", SCHEMA),
        ("verdict", wording.verdict(job)),
        ("job", _job(job)),
        ("ledger", [_row(row) for row in told.rows]),
        ("episodes", msgspec.Raw(_timed(told.episodes, job, "entry", "by", "via"))),
        ("stretches", msgspec.Raw(_timed(told.stretches, job, "doing", "what"))),
        (
            "told",
            [
                _span(s.start_ns, s.end_ns, job)
                | {"doing": s.doing, "what": s.what, "count": s.count}
                | {"ledger": [_row(row) for row in s.rows]}
                for s in told.told
            ],
        ),
        ("waits", [_wait(wait) for wait in told.waits]),
        ("waits_left_out", told.waits_left_out),
        (
            "deadlocks",
            [
                {"at_us": ns_to_us(c.at_ns), "tasks": c.tasks, "locks": c.locks}
                for c in told.deadlocks
            ],
        ),
        ("backlog", None if told.backlog is None else _backlog(told.backlog)),
        ("shorter", None if told.shorter is None else _shorter(told.shorter)),
        (
            "repairs",
            [
                {"kind": r.kind, "subject": r.subject, "us": ns_to_us(r.ns), "text": r.text}
                for r in told.repairs
            ],
        ),
        ("usual", None if told.usual is None else _usual(told.usual)),
        (
            "late_jobs",
            {
                "task": job.task,
                "count": told.late_jobs,
                "causes": [_story(story) for story in told.stories],
            },
        ),
    ]


def _job(job: Job) -> dict[str, Any]:
    return {
        "task": job.task,
        "job": job.number,
        "status": job.status,
        "late": job.late,
        "release_us": ns_to_us(job.release_ns),
        "start_us": ns_to_us(job.start_ns),
        "end_us": ns_to_us(job.end_ns),
        "response_us": ns_to_us(job.length_ns) if job.judged else None,
        "deadline_us": ns_to_us(job.deadline_ns),
        "lateness_us": ns_to_us(job.lateness_ns) if job.judged else None,
        "inferred": job.inferred,
        "hidden": job.hidden,
        "release_line": _line(job.release_place),
        "end_line": _line(job.end_place),
    }


def _line(place: Place | None) -> dict[str, int] | None:
    return None if place is None else {"part": place[0] + 1, "line": place[1]}


def _row(row: Row) -> dict[str, Any]:
    return {"entry": row.entry, "by": row.by, "via": row.via, "us": ns_to_us(row.ns)}


def _span(start_ns: int, end_ns: int, job: Job) -> dict[str, Any]:
    from_release = start_ns - job.release_ns
    late = None if job.deadline_ns is None else from_release - job.deadline_ns
    return {
        "start_us": ns_to_us(start_ns),
        "end_us": ns_to_us(end_ns),
        "from_release_us": ns_to_us(from_release),
        "from_deadline_us": ns_to_us(late),
    }


def _timed(table: pl.DataFrame, job: Job, *columns: str) -> bytes:
    """A table with the keys of `_span` and its own columns, one row a line."""
    from_release = pl.col("start_ns") - job.release_ns
    rows = table.select(
        (pl.col("start_ns") / NS_PER_US).alias("start_us"),
        (pl.col("end_ns") / NS_PER_US).alias("end_us"),
        (from_release / NS_PER_US).alias("from_release_us"),
        ((from_release - pl.lit(job.deadline_ns, pl.Int64)) / NS_PER_US).alias("from_deadline_us"),
        *columns,
    ).write_ndjson()
    # A line feed inside a string is escaped, so each of these ends a row.
    return f"[\n{rows.rstrip().replace(chr(10), ',' + chr(10))}]".encode()


def _wait(wait: Wait) -> dict[str, Any]:
    return {
        "task": wait.task,
        "kind": wait.kind,
        "lock": wait.lock,
        "wanted": wait.wanted,
        "start_us": ns_to_us(wait.start_ns),
        "end_us": ns_to_us(wait.end_ns),
        "got": wait.got,
        "holders": [_holder(holder) for holder in wait.holders],
    }


def _holder(holder: Holder) -> dict[str, Any]:
    return {
        "task": holder.task,
        "took_us": ns_to_us(holder.took_ns),
        "gave_us": ns_to_us(holder.gave_ns),
        "own_us": ns_to_us(holder.own_ns),
        "complete": holder.complete,
        "waits": [_wait(wait) for wait in holder.waits],
    }


def _backlog(chain: Backlog) -> dict[str, Any]:
    return {
        "jobs": chain.jobs,
        "first": _predecessor(chain.first),
        "between": chain.between,
        "last": [_predecessor(earlier) for earlier in chain.last],
    }


def _predecessor(earlier: Predecessor) -> dict[str, Any]:
    return _job(earlier.job) | {"ledger": [_row(row) for row in earlier.rows]}


def _shorter(found: Shorter) -> dict[str, Any]:
    return {
        "alone": [_without(case) for case in found.alone],
        "together": None if found.together is None else _without(found.together),
    }


def _without(case: Without) -> dict[str, Any]:
    return {
        "parts": [_row(part) for part in case.parts],
        "left_us": ns_to_us(case.left_ns),
        "early_us": ns_to_us(case.early_ns),
    }


def _usual(usual: Usual) -> dict[str, Any]:
    return {
        "job": _job(usual.job),
        "judged": usual.judged,
        "growths": [
            {
                "entry": g.entry,
                "by": g.by,
                "via": g.via,
                "us": ns_to_us(g.ns),
                "usual_us": ns_to_us(g.usual_ns),
                "share": g.share,
            }
            for g in usual.growths
        ],
    }


def _story(story: Story) -> dict[str, Any]:
    return {
        "entry": story.entry,
        "by": story.by,
        "via": story.via,
        "jobs": story.jobs,
        "through_backlog": story.through_backlog,
        "first": _job(story.first),
        "worst": _job(story.worst),
    }
