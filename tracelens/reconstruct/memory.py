"""Making the machine's memory: how large its regions are, and more room when it is used up."""

from dataclasses import dataclass

import numpy as np

from tracelens.reconstruct.arena import (
    ACTIVE,
    AT_ONCE,
    BATCH,
    CHAINS,
    CORE_WIDTH,
    CORES,
    EPISODE_CAP,
    EPISODE_ROWS,
    EPISODE_SPARE,
    EPISODE_WIDTH,
    HEADER,
    HOLD_NEXT,
    HOLD_WIDTH,
    HOLDS,
    HOLDS_FREE,
    HOLDS_LEFT,
    ISR_WIDTH,
    ISRS,
    ITEM_NEXT,
    ITEM_WIDTH,
    ITEMS,
    ITEMS_FREE,
    ITEMS_LEFT,
    JOB_CAP,
    JOB_NEXT,
    JOB_OUT_WIDTH,
    JOB_ROWS,
    JOB_SPARE,
    JOB_WIDTH,
    JOBS,
    JOBS_FREE,
    JOBS_LEFT,
    MARGIN,
    MAX_CHAIN,
    MAX_DEPTH,
    MOST_CORES,
    N_CORES,
    N_ISRS,
    N_OBJECTS,
    N_TASKS,
    NONE,
    OBJECT_WIDTH,
    OBJECTS,
    OCCUPANT_CAP,
    OCCUPANT_ROWS,
    OCCUPANT_SPARE,
    OCCUPANT_WIDTH,
    RECORD_CAP,
    RECORD_ROWS,
    RECORD_SPARE,
    RECORD_WIDTH,
    STACK_WIDTH,
    STACKS,
    STATE_CAP,
    STATE_ROWS,
    STATE_SPARE,
    STATE_WIDTH,
    TASK_WIDTH,
    TASKS,
)

_ROWS_AT_ONCE = 1 << 17


@dataclass(frozen=True, slots=True)
class Sizes:
    """How many rows each region has."""

    tasks: int
    cores: int
    isrs: int
    objects: int
    jobs: int
    holds: int
    items: int
    rows: int  # capacity of each buffer of finished rows

    def at_once(self) -> int:
        """How many events may be taken between two looks whether there is room for their rows.

        Where one event may write very many, the buffers need not have room for more than that.
        """
        return max(1, min(BATCH, _ROWS_AT_ONCE // self._rows_of_one()))

    def margin(self) -> int:
        """The most rows that so many events may write into a buffer."""
        return self.at_once() * self._rows_of_one()

    def _rows_of_one(self) -> int:
        """The most rows of one event: a gap ends everything."""
        return 8 * (self.tasks + self.cores + self.objects) + 4 * self.jobs + self.holds + 64


_POOLS = (
    (JOBS, JOBS_FREE, JOBS_LEFT, JOB_WIDTH, JOB_NEXT),
    (HOLDS, HOLDS_FREE, HOLDS_LEFT, HOLD_WIDTH, HOLD_NEXT),
    (ITEMS, ITEMS_FREE, ITEMS_LEFT, ITEM_WIDTH, ITEM_NEXT),
)
_BUFFERS = (
    (STATE_ROWS, STATE_SPARE, STATE_CAP, STATE_WIDTH),
    (OCCUPANT_ROWS, OCCUPANT_SPARE, OCCUPANT_CAP, OCCUPANT_WIDTH),
    (EPISODE_ROWS, EPISODE_SPARE, EPISODE_CAP, EPISODE_WIDTH),
    (JOB_ROWS, JOB_SPARE, JOB_CAP, JOB_OUT_WIDTH),
    (RECORD_ROWS, RECORD_SPARE, RECORD_CAP, RECORD_WIDTH),
)


def build(sizes: Sizes) -> np.ndarray:
    """An arena of these sizes: bases set, pools strung on their free lists, the rest zero."""
    regions = (
        (CORES, MOST_CORES * CORE_WIDTH),  # first, and
        (TASKS, sizes.tasks * TASK_WIDTH),  # second: their places are constants
        (ISRS, sizes.isrs * ISR_WIDTH),
        (OBJECTS, sizes.objects * OBJECT_WIDTH),
        (STACKS, sizes.cores * MAX_DEPTH * STACK_WIDTH),
        (ACTIVE, sizes.tasks),
        (CHAINS, sizes.tasks * MAX_CHAIN),
        (JOBS, sizes.jobs * JOB_WIDTH),
        (HOLDS, sizes.holds * HOLD_WIDTH),
        (ITEMS, sizes.items * ITEM_WIDTH),
        *(
            (base, (sizes.rows + sizes.margin()) * width)
            for *bases, _, width in _BUFFERS
            for base in bases
        ),
    )
    memory = np.zeros(HEADER + sum(length for _, length in regions), np.int64)
    at = HEADER
    for base, length in regions:
        memory[base] = at
        at += length
    memory[N_TASKS], memory[N_CORES] = sizes.tasks, sizes.cores
    memory[N_ISRS], memory[N_OBJECTS] = sizes.isrs, sizes.objects
    memory[MARGIN], memory[AT_ONCE] = sizes.margin(), sizes.at_once()
    for *_, cap, _ in _BUFFERS:
        memory[cap] = sizes.rows + sizes.margin()
    pool_sizes = (sizes.jobs, sizes.holds, sizes.items)
    for (base, free, left, width, link), count in zip(_POOLS, pool_sizes, strict=True):
        _string(memory, base, free, width, link, 0, count)
        memory[left] = count
    return memory


def _string(
    memory: np.ndarray, base: int, free: int, width: int, link: int, start: int, stop: int
) -> None:
    """Put the pool's rows [start, stop) on its free list, before what is there."""
    rows = int(memory[base]) + np.arange(start, stop) * width + link
    following = np.arange(start + 1, stop + 1)
    following[-1:] = memory[free] if start else NONE
    memory[rows] = following
    memory[free] = start if stop > start else NONE


def grown(memory: np.ndarray, old: Sizes, new: Sizes) -> np.ndarray:
    """A copy in an arena whose pools or buffers are larger. Finished rows must be collected."""
    larger = build(new)
    kept_bases = {base: int(larger[base]) for base in _region_bases()}
    caps = {cap: int(larger[cap]) for *_, cap, _ in _BUFFERS}
    room = larger[[MARGIN, AT_ONCE]]
    bases = sorted(_region_bases(), key=lambda base: memory[base])
    ends = [*(int(memory[base]) for base in bases[1:]), len(memory)]
    larger[:HEADER] = memory[:HEADER]
    buffers = {base for *both, _, _ in _BUFFERS for base in both}
    for base, end in zip(bases, ends, strict=True):
        if base in buffers:
            continue
        start = int(memory[base])
        larger[kept_bases[base] : kept_bases[base] + end - start] = memory[start:end]
    for base, value in (kept_bases | caps).items():
        larger[base] = value
    larger[[MARGIN, AT_ONCE]] = room
    old_counts, new_counts = (old.jobs, old.holds, old.items), (new.jobs, new.holds, new.items)
    for (base, free, left, width, link), was, count in zip(
        _POOLS, old_counts, new_counts, strict=True
    ):
        if count > was:
            _string(larger, base, free, width, link, was, count)
            larger[left] = int(memory[left]) + count - was
    return larger


def _region_bases() -> tuple[int, ...]:
    return (
        TASKS,
        CORES,
        ISRS,
        OBJECTS,
        STACKS,
        ACTIVE,
        CHAINS,
        JOBS,
        HOLDS,
        ITEMS,
        *(base for *both, _, _ in _BUFFERS for base in both),
    )
