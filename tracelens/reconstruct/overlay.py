"""Unknown time that was found out too late: it covers what had been written of a core meanwhile."""

import numpy as np

from tracelens.reconstruct.arena import NOBODY_KNOWS


def apply_overrides(columns: list[np.ndarray], overrides: np.ndarray) -> list[np.ndarray]:
    """Occupancy columns (core, start, end, occupant, who) with unknown stretches laid over them.

    `who` is kept plus one, 0 being nobody.
    `overrides` has fields (core, start, end), of one core disjoint and in order; right after
    each the core is unknown, so the stretch joins the row that follows it.
    """
    if not overrides.size:
        return columns
    pieces = []
    for core in np.unique(columns[0]):
        mine = columns[0] == core
        pieces.append(
            _cover([column[mine] for column in columns], overrides[1:, overrides[0] == core].T)
        )
    return [np.concatenate(parts) for parts in zip(*pieces, strict=True)]


def _cover(columns: list[np.ndarray], stretches: np.ndarray) -> list[np.ndarray]:
    core, start, end, occupant, who = (column.copy() for column in columns)
    keep = np.ones(len(core), bool)
    added: list[tuple[int, int]] = []
    for begin, stop in stretches.tolist():
        first = int(np.searchsorted(end, begin, side="right"))
        after = int(np.searchsorted(start, stop, side="left"))
        for row in range(first, after):
            if start[row] < begin:
                end[row] = begin
            else:
                keep[row] = False
        if after < len(core) and start[after] == stop and occupant[after] == NOBODY_KNOWS:
            start[after] = begin
        else:
            added.append((begin, stop))
    more = np.array(added, np.int64).reshape(-1, 2)
    whole = [
        np.concatenate((core[keep], np.full(len(more), core[0], core.dtype))),
        np.concatenate((start[keep], more[:, 0])),
        np.concatenate((end[keep], more[:, 1])),
        np.concatenate((occupant[keep], np.full(len(more), NOBODY_KNOWS, occupant.dtype))),
        np.concatenate((who[keep], np.zeros(len(more), who.dtype))),
    ]
    order = np.argsort(whole[1], kind="stable")
    return [column[order] for column in whole]
