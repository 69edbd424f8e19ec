"""Unknown time laid over what had been written of a core meanwhile. Who had it is kept plus one."""

import numpy as np

from tracelens.reconstruct.arena import BY_TASK, IDLING, NOBODY_KNOWS
from tracelens.reconstruct.overlay import apply_overrides


def _covered(rows: list[tuple[int, ...]], *stretches: tuple[int, int, int]) -> list[list[int]]:
    columns = [np.array(column) for column in zip(*rows, strict=True)]
    return np.stack(apply_overrides(columns, np.array(stretches).T), axis=1).tolist()


def test_a_stretch_inside_one_row_parts_it() -> None:
    rows = [(0, 0, 50, BY_TASK, 1), (0, 50, 60, IDLING, 0)]
    assert _covered(rows, (0, 40, 50)) == [
        [0, 0, 40, BY_TASK, 1],
        [0, 40, 50, NOBODY_KNOWS, 0],
        [0, 50, 60, IDLING, 0],
    ]


def test_a_stretch_joins_the_unknown_row_after_it_and_swallows_what_lies_inside() -> None:
    rows = [(0, 0, 30, BY_TASK, 1), (0, 30, 35, IDLING, 0), (0, 35, 60, NOBODY_KNOWS, 0)]
    assert _covered(rows, (0, 20, 35)) == [[0, 0, 20, BY_TASK, 1], [0, 20, 60, NOBODY_KNOWS, 0]]


def test_other_cores_keep_their_rows() -> None:
    rows = [(0, 0, 60, BY_TASK, 1), (1, 0, 60, BY_TASK, 2)]
    assert _covered(rows, (1, 10, 60)) == [
        [0, 0, 60, BY_TASK, 1],
        [1, 0, 10, BY_TASK, 2],
        [1, 10, 60, NOBODY_KNOWS, 0],
    ]
