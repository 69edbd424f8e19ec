"""Finished rows, and the places taken from and given back to the pools.

Each writer appends one row to its buffer in the arena; empty intervals are not written. The
driver collects the buffers; `advance` stops for it before one could overflow.
"""

from tracelens.reconstruct.arena import (
    EPISODE_ROWS,
    EPISODE_USED,
    EPISODE_WIDTH,
    HOLD_NEXT,
    HOLD_WIDTH,
    HOLDS,
    HOLDS_FREE,
    HOLDS_LEFT,
    ITEM_NEXT,
    ITEM_WIDTH,
    ITEMS,
    ITEMS_FREE,
    ITEMS_LEFT,
    JOB_NEXT,
    JOB_WIDTH,
    JOBS,
    JOBS_FREE,
    JOBS_LEFT,
    OCCUPANT_ROWS,
    OCCUPANT_USED,
    OCCUPANT_WIDTH,
    R_REPAIR,
    R_UNUSED,
    RECORD_ROWS,
    RECORD_USED,
    RECORD_WIDTH,
    STATE_ROWS,
    STATE_USED,
    STATE_WIDTH,
    Memory,
)


def emit_state(M: Memory, t: int, start: int, end: int, state: int, core: int, waits: int) -> None:
    """Task t was in this state during [start, end)."""
    if end > start:
        r = M[STATE_ROWS] + M[STATE_USED] * STATE_WIDTH
        M[r] = t
        M[r + 1] = start
        M[r + 2] = end
        M[r + 3] = state
        M[r + 4] = core
        M[r + 5] = waits
        M[STATE_USED] += 1


def emit_occupant(M: Memory, c: int, start: int, end: int, occupant: int, who: int) -> None:
    """Core c was occupied so during [start, end)."""
    if end > start:
        r = M[OCCUPANT_ROWS] + M[OCCUPANT_USED] * OCCUPANT_WIDTH
        M[r] = c
        M[r + 1] = start
        M[r + 2] = end
        M[r + 3] = occupant
        M[r + 4] = who
        M[OCCUPANT_USED] += 1


def emit_episode(M: Memory, job: int, start: int, end: int, entry: int, by: int, via: int) -> None:
    """The time [start, end) of a job went to this ledger entry."""
    if end > start:
        r = M[EPISODE_ROWS] + M[EPISODE_USED] * EPISODE_WIDTH
        M[r] = job
        M[r + 1] = start
        M[r + 2] = end
        M[r + 3] = entry
        M[r + 4] = by
        M[r + 5] = via
        M[EPISODE_USED] += 1


def emit_record(
    M: Memory, kind: int, a: int, b: int, c: int = 0, d: int = 0, e: int = 0, f: int = 0
) -> int:
    """One row of a rarer kind; returns its offset, for fields after the sixth."""
    r = M[RECORD_ROWS] + M[RECORD_USED] * RECORD_WIDTH
    M[r] = kind
    M[r + 1] = a
    M[r + 2] = b
    M[r + 3] = c
    M[r + 4] = d
    M[r + 5] = e
    M[r + 6] = f
    M[RECORD_USED] += 1
    return r


def emit_repair(M: Memory, reason: int, event: int) -> None:
    """The log was mended at this event."""
    emit_record(M, R_REPAIR, reason, event)


def emit_unused(M: Memory, reason: int, event: int) -> None:
    """This event says nothing that can be used."""
    emit_record(M, R_UNUSED, reason, event)


def take_job(M: Memory) -> int:
    """A free row of the pool of open jobs."""
    j = M[JOBS_FREE]
    M[JOBS_FREE] = M[M[JOBS] + j * JOB_WIDTH + JOB_NEXT]
    M[JOBS_LEFT] -= 1
    return j


def give_job(M: Memory, j: int) -> None:
    """Give a row of the pool of open jobs back."""
    M[M[JOBS] + j * JOB_WIDTH + JOB_NEXT] = M[JOBS_FREE]
    M[JOBS_FREE] = j
    M[JOBS_LEFT] += 1


def take_hold(M: Memory) -> int:
    """A free row of the pool of holds."""
    h = M[HOLDS_FREE]
    M[HOLDS_FREE] = M[M[HOLDS] + h * HOLD_WIDTH + HOLD_NEXT]
    M[HOLDS_LEFT] -= 1
    return h


def give_hold(M: Memory, h: int) -> None:
    """Give a row of the pool of holds back."""
    M[M[HOLDS] + h * HOLD_WIDTH + HOLD_NEXT] = M[HOLDS_FREE]
    M[HOLDS_FREE] = h
    M[HOLDS_LEFT] += 1


def take_item(M: Memory) -> int:
    """A free row of the pool of queued items."""
    i = M[ITEMS_FREE]
    M[ITEMS_FREE] = M[M[ITEMS] + i * ITEM_WIDTH + ITEM_NEXT]
    M[ITEMS_LEFT] -= 1
    return i


def give_item(M: Memory, i: int) -> None:
    """Give a row of the pool of queued items back."""
    M[M[ITEMS] + i * ITEM_WIDTH + ITEM_NEXT] = M[ITEMS_FREE]
    M[ITEMS_FREE] = i
    M[ITEMS_LEFT] += 1
