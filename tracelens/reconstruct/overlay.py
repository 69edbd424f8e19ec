"""Unknown time that was found out too late: it covers what had been written of a core meanwhile."""

import numpy as np

from tracelens.reconstruct.arena import NOBODY_KNOWS


def overlaid(columns: list[np.ndarray], stretches: np.ndarray) -> list[np.ndarray]:
    """A core's occupants (start, end, who, occupant) with unknown stretches laid over them.

    `who` is kept plus one, 0 being nobody. `stretches` has a row (start, end) each, disjoint and
    in order; right after each the core is unknown, so the stretch joins the row that follows it.
    """
    if not stretches.size:
        return columns
    start, end, who, occupant = (column.copy() for column in columns)
    keep = np.ones(len(start), bool)
    added: list[tuple[int, int]] = []
    for begin, stop in stretches.tolist():
        first = int(np.searchsorted(end, begin, side="right"))
        after = int(np.searchsorted(start, stop, side="left"))
        for row in range(first, after):
            if start[row] < begin:
                end[row] = begin
            else:
                keep[row] = False
        if after < len(start) and start[after] == stop and occupant[after] == NOBODY_KNOWS:
            start[after] = begin
        else:
            added.append((begin, stop))
    more = np.array(added, np.int64).reshape(-1, 2)
    whole = [
        np.concatenate((start[keep], more[:, 0])),
        np.concatenate((end[keep], more[:, 1])),
        np.concatenate((who[keep], np.zeros(len(more), who.dtype))),
        np.concatenate((occupant[keep], np.full(len(more), NOBODY_KNOWS, occupant.dtype))),
    ]
    order = np.argsort(whole[0], kind="stable")
    return [column[order] for column in whole]
