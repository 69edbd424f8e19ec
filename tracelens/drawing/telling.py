"""What explains a job, made once however many parts of the page ask for it.

An explanation looks through whole tables, which of a long run takes longer than a zoom may.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable
from typing import Any, Final, TypeVar
from weakref import WeakKeyDictionary

from tracelens.drawing.runs import Run
from tracelens.explanation import Explanation, explain
from tracelens.explanation import waits as chains
from tracelens.explanation.jobs import job as job_of
from tracelens.explanation.records import Wait

MOST_KEPT: Final = 32
"""Of each run so many are kept, the latest: readers who look at other jobs do not wait long."""

T = TypeVar("T")

_KEPT: WeakKeyDictionary[Run, "OrderedDict[Any, Any]"] = WeakKeyDictionary()
_LOCK: Final = threading.Lock()


def telling(run: Run, job_id: int) -> Explanation:
    """The whole telling of one job, as `tracelens explain` gives it."""
    return _once(run, ("job", job_id), lambda: explain(run.analysis.timeline, job_id))


def chain(run: Run, job_id: int) -> tuple[Wait, ...]:
    """The times that a lock was in the job's way, with the chain of holders."""
    return _once(run, ("chain", job_id), lambda: _waits(run, job_id))


def _waits(run: Run, job_id: int) -> tuple[Wait, ...]:
    timeline = run.analysis.timeline
    job = job_of(timeline.jobs, job_id)
    mine = chains.lock_waits(timeline, job, run.episodes_of(job_id, job_id))
    return chains.waits(timeline, job, mine)[0]


def _once(run: Run, key: Any, make: Callable[[], T]) -> T:
    with _LOCK:
        kept = _KEPT.setdefault(run, OrderedDict())
        if key in kept:
            kept.move_to_end(key)
            found: T = kept[key]
            return found
    made = make()
    with _LOCK:
        kept[key] = made
        while len(kept) > MOST_KEPT:
            kept.popitem(last=False)
    return made
