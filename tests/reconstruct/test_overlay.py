"""Unknown time laid over what had been written of a core meanwhile. Who had it is kept plus one."""

import numpy as np

from tracelens.reconstruct.arena import BY_TASK, IDLING, NOBODY_KNOWS
from tracelens.reconstruct.overlay import overlaid


def _covered(rows: list[tuple[int, ...]], *stretches: tuple[int, int]) -> list[tuple[int, ...]]:
    columns = [np.array(column) for column in zip(*rows, strict=True)]
    whole = overlaid(columns, np.array(stretches).reshape(-1, 2))
    return list(zip(*(column.tolist() for column in whole), strict=True))


def test_a_stretch_inside_one_row_parts_it() -> None:
    rows = [(0, 50, 1, BY_TASK), (50, 60, 0, IDLING)]
    assert _covered(rows, (40, 50)) == [
        (0, 40, 1, BY_TASK),
        (40, 50, 0, NOBODY_KNOWS),
        (50, 60, 0, IDLING),
    ]


def test_a_stretch_joins_the_unknown_row_after_it_and_swallows_what_lies_inside() -> None:
    rows = [(0, 30, 1, BY_TASK), (30, 35, 0, IDLING), (35, 60, 0, NOBODY_KNOWS)]
    assert _covered(rows, (20, 35)) == [(0, 20, 1, BY_TASK), (20, 60, 0, NOBODY_KNOWS)]


def test_without_a_stretch_the_rows_are_as_they_were() -> None:
    rows = [(0, 60, 2, BY_TASK)]
    assert _covered(rows) == rows
