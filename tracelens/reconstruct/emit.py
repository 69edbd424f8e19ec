"""Finished rows, and the places taken from and given back to the pools.

Each writer appends one row to its buffer in the arena, field by field into columns, small fields
packed into one; empty intervals are not written. The driver collects the buffers; `advance` stops
for it before one could overflow.
"""

from tracelens.reconstruct.arena import (
    CORE_BITS,
    EPISODE_CAP,
    EPISODE_ROWS,
    EPISODE_USED,
    HOLD_NEXT,
    HOLD_WIDTH,
    HOLDS,
    HOLDS_FREE,
    HOLDS_LEFT,
    IN_ISR,
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
    N_TASKS,
    NAME_BITS,
    OCCUPANT_CAP,
    OCCUPANT_ROWS,
    OCCUPANT_USED,
    R_INVERSION,
    R_REPAIR,
    R_UNUSED,
    R_WAIT,
    RECORD_CAP,
    RECORD_ROWS,
    RECORD_USED,
    STATE_BITS,
    STATE_CAP,
    STATE_ROWS,
    STATE_USED,
    Memory,
)


def emit_state(M: Memory, t: int, start: int, end: int, state: int, core: int, waits: int) -> None:
    """Task t was in this state during [start, end)."""
    if end > start:
        cap = M[STATE_CAP]
        r = M[STATE_ROWS] + M[STATE_USED]
        M[r] = start
        M[r + cap] = end
        code = ((t << CORE_BITS) + core + 1 << STATE_BITS) + state
        M[r + 2 * cap] = (code << NAME_BITS) + waits + 1
        M[STATE_USED] += 1


def emit_occupant(M: Memory, c: int, start: int, end: int, occupant: int, who: int) -> None:
    """Core c was occupied so during [start, end)."""
    if end > start:
        cap = M[OCCUPANT_CAP]
        r = M[OCCUPANT_ROWS] + M[OCCUPANT_USED]
        M[r] = start
        M[r + cap] = end
        kept = who + 1 + M[N_TASKS] if occupant == IN_ISR else who + 1
        M[r + 2 * cap] = ((c << STATE_BITS) + occupant << NAME_BITS) + kept
        M[OCCUPANT_USED] += 1


def emit_episode(M: Memory, job: int, start: int, end: int, entry: int, by: int, via: int) -> None:
    """The time [start, end) of a job went to this ledger entry."""
    if end > start:
        cap = M[EPISODE_CAP]
        r = M[EPISODE_ROWS] + M[EPISODE_USED]
        M[r] = job
        M[r + cap] = start
        M[r + 2 * cap] = end
        M[r + 3 * cap] = ((entry << NAME_BITS) + by + 1 << NAME_BITS) + via + 1
        M[EPISODE_USED] += 1


def emit_record(
    M: Memory,
    kind: int,
    a: int,
    b: int,
    c: int = 0,
    d: int = 0,
    e: int = 0,
    f: int = 0,
    g: int = 0,
    h: int = 0,
    i: int = 0,
    j: int = 0,
    k: int = 0,
) -> None:
    """One row of a rarer kind; what its fields are, `frames` says."""
    cap = M[RECORD_CAP]
    r = M[RECORD_ROWS] + M[RECORD_USED]
    M[r] = kind
    M[r + cap] = a
    M[r + 2 * cap] = b
    M[r + 3 * cap] = c
    M[r + 4 * cap] = d
    M[r + 5 * cap] = e
    M[r + 6 * cap] = f
    M[r + 7 * cap] = g
    if kind == R_WAIT or kind == R_INVERSION:
        M[r + 8 * cap] = h
        M[r + 9 * cap] = i
        M[r + 10 * cap] = j
        M[r + 11 * cap] = k
    M[RECORD_USED] += 1


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
