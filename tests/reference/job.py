"""A job, and the grid of nominal releases of a periodic task."""

from dataclasses import dataclass, field
from itertools import pairwise

from tests.reference.lines import Task as DeclaredTask
from tests.reference.world import Item, World


@dataclass(eq=False)
class Job:
    task: str
    release: int
    line: int
    excluded: bool = False
    inferred: bool = False
    aborted: bool = False
    open: bool = False
    end: int | None = None
    first_start: int | None = None
    number: int = 0
    nominal: int | None = None  # its nominal release, of a periodic task
    hidden: int = 0
    began_by_release: bool = False
    seen_midway: bool = False
    item: Item | None = None
    marked: str | None = None  # the number that its marks give
    ledger: dict[tuple[str, str | None, str | None], int] = field(default_factory=dict)

    @property
    def execution(self) -> int:
        return sum(ns for (entry, _, _), ns in self.ledger.items() if entry == "execution")

    @property
    def status(self) -> str:
        if self.excluded or ("unknown", None, None) in self.ledger:
            return "excluded"
        if self.aborted:
            return "aborted"
        return "open" if self.open else "complete"


@dataclass(eq=False)
class StartUp:
    """What runs from an activation; a job only if it ends in `terminate` without a wait."""

    time: int
    line: int
    place: int  # in the task's story
    waited: bool = False


@dataclass(eq=False)
class Run:
    """A stretch in which the task runs, until a place in its story."""

    start: int
    until: int | None = None


class Grid:
    """Nominal releases of a periodic task, boot by boot."""

    def __init__(self, task: DeclaredTask, world: World, releases: list[int]) -> None:
        assert task.period_ns is not None
        self.period = task.period_ns
        self.world = world
        # A release may precede its declared grid point by an eighth of a period, ours never.
        self.early = self.period // 8 if task.offset_ns is not None else 0
        self.offsets: dict[int, int] = {}
        for boot, start in enumerate(world.boot_starts):
            if task.offset_ns is not None:
                self.offsets[boot] = start + task.offset_ns
            else:
                own = [r for r in releases if world.boot_of(r) == boot]
                if own:
                    self.offsets[boot] = self._lower_envelope(own)

    def _lower_envelope(self, releases: list[int]) -> int:
        """The grid that lies under all releases and touches one."""
        count, offset = 0, releases[0]
        for before, release in pairwise(releases):
            count += (2 * (release - before) + self.period) // (2 * self.period)
            offset = min(offset, release - count * self.period)
        return offset

    def nominal(self, release: int) -> int | None:
        """The last grid point that the release does not precede, or by little if it is declared."""
        offset = self.offsets.get(self.world.boot_of(release))
        if offset is None:
            return None
        return offset + (release - offset + self.early) // self.period * self.period

    def between(self, low: int, high: int) -> int:
        """How many grid points lie strictly between a grid point `low` and `high`."""
        return max(0, (high - low - 1) // self.period)
