"""The grid of nominal releases of a periodic task that declares no offset.

It is the lower envelope of the releases that began jobs: the latest grid that no release
precedes. Releases are counted along by whole periods from one to the next, so that a missing
one moves nothing.
"""

import numpy as np

from tracelens.model.system import System
from tracelens.reconstruct import arena as a
from tracelens.reconstruct.rows import JOBS, Rows
from tracelens.reconstruct.setup import Facts

NO_RELEASE = a.SPLIT | a.STARTUP | a.PROVISIONAL | a.UNDER_WAY


def envelope(releases: np.ndarray, period: int) -> int:
    """The origin of the grid, from releases in order (ns) and the period (ns)."""
    steps = (2 * np.diff(releases) + period) // (2 * period)
    nominal = np.concatenate(([0], np.cumsum(steps))) * period
    return int((releases - nominal).min())


def envelopes(rows: Rows, system: System, about: Facts) -> dict[int, int]:
    """Task index → origin of its grid, for periodic tasks whose jobs are begun by releases."""
    _, tasks, released, _, _, status, flags, *_ = rows.columns(JOBS)
    whole = (flags & NO_RELEASE == 0) & (status != a.DISCARDED)
    found = {}
    for number, task in enumerate(system.tasks):
        if task.period_ns and task.offset_ns is None and about.modes[number] <= a.BY_OBJECT:
            releases = np.sort(released[whole & (tasks == number)])
            if len(releases):
                found[number] = envelope(releases, task.period_ns)
    return found
