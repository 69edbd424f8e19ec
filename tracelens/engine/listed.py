"""Work that is listed, run by run, as a recording tells it; and what its switches cost."""

from collections.abc import Sequence
from typing import NamedTuple

from tracelens.engine.work import Op


class Until(NamedTuple):
    """A release by time: not before `arrival`; late for it after `due`. Both in ticks.

    `by_tick`: the handler that releases what is due does it, not the clock itself. `word`: what
    the task says that it waits for, in the table of names; −1 if nothing.
    """

    arrival: int
    due: int
    word: int
    by_tick: bool


class Listed:
    """Runs of a handler, or activations of a scripted task: `times[n]` and, of a handler, a body.

    It stands where drawn `Work` does. A task's script is one body.
    """

    per_request = 1

    def __init__(self, times: Sequence[int], bodies: Sequence[tuple[Op, ...]]) -> None:
        self._times = times
        self._bodies = bodies

    @property
    def timed(self) -> bool:
        """True if anything comes by time."""
        return len(self._times) > 0

    def due(self, run: int) -> int | None:
        """When run `run` (from 0) is due, in ticks; None after the last."""
        return self._times[run] if run < len(self._times) else None

    arrival = due

    def body(self, run: int) -> tuple[Op, ...]:
        """What run `run` does."""
        return self._bodies[run] if run < len(self._bodies) else ()

    def replace_body(self, ops: tuple[Op, ...]) -> None:
        """Give every run the same body."""
        self._bodies = [ops] * len(self._times)

    def stack_use(self, run: int, ops: tuple[Op, ...]) -> int:
        """Stack is not listed."""
        return 0


class SwitchCosts:
    """What switches cost, as observed: of each kind one after another, then the usual one.

    A kind is (name of who starts, how the core was left: see `core_time`).
    """

    def __init__(self, observed: dict[tuple[int, int], list[int]], usual: int) -> None:
        self._left = {kind: iter(costs) for kind, costs in observed.items()}
        self._usual = {
            kind: sorted(costs)[len(costs) // 2] for kind, costs in observed.items() if costs
        }
        self._any = usual

    def draw(self, name: int, how: int) -> int:
        """The next switch of this kind, in ticks."""
        kind = (name, how)
        left = self._left.get(kind)
        if left is None:
            return self._any
        cost = next(left, None)
        return self._usual.get(kind, self._any) if cost is None else cost
