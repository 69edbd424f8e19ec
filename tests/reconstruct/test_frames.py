"""Occupants of several cores, laid end to end as one table. Who had a core is kept plus one."""

import numpy as np

from tracelens.model.system import Core, System, Task
from tracelens.reconstruct.arena import BY_TASK
from tracelens.reconstruct.frames import Labels, _occupancy
from tracelens.reconstruct.names import Named

NONE = frozenset[str]()


def test_unknown_time_is_laid_over_the_rows_of_its_own_core_only() -> None:
    system = System(tasks=(Task("a", "a"), Task("b", "b")), cores=(Core(0, "0"), Core(3, "3")))
    labels = Labels(Named(system, (), NONE, NONE, {}, frozenset()))
    whole = [np.array([0]), np.array([60])]
    cores = [[*whole, np.array([who], np.uint8), np.array([BY_TASK], np.uint8)] for who in (1, 2)]
    overrides = np.array([[1], [10], [60]])  # of the second core, [10, 60)
    assert _occupancy(cores, overrides, labels).rows() == [
        (0, 0, 60, "task", "a"),
        (3, 0, 10, "task", "b"),
        (3, 10, 60, "unknown", None),
    ]
