"""Which lanes the reader wants to see, and in what order."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from tracelens.drawing.lanes import Lane, Lanes

ORDERS: Final = ("urgency", "busy", "name")
"""Orders of the lanes of one kind: as the run has them (tasks by priority), the busiest first (in
the whole run, so that a window that moves does not stir them), by name."""

KEPT_ON_TOP: Final = "first"
"""Group of the lanes that the reader put first."""


@dataclass(frozen=True, slots=True)
class Choice:
    """The reader's choice; the default is all lanes in their own order.

    `find`: words, of which one must occur in a lane's name (upper or lower case). `without`: kinds
    that are left out. `first`: names that stand on top, in this order. `fold`: lanes in which
    nothing happens in the window become one line.
    """

    find: str = ""
    without: Sequence[str] = ()
    first: Sequence[str] = ()
    order: str = ORDERS[0]
    fold: bool = False


@dataclass(frozen=True, slots=True)
class Shown:
    """The chosen lanes, top to bottom, and the quiet ones that are folded into one line."""

    lanes: tuple[Lane, ...]
    folded: tuple[Lane, ...]


def choose(lanes: Lanes, choice: Choice, start_ns: int, end_ns: int) -> Shown:
    """The lanes to draw for the window [start_ns, end_ns)."""
    words = choice.find.casefold().split()
    wanted = [
        lane
        for lane in lanes.lanes
        if lane.kind not in choice.without
        and (not words or any(word in lane.name.casefold() for word in words))
    ]
    wanted = _on_top(_ordered(lanes, wanted, choice.order), choice.first)
    if not choice.fold:
        return Shown(tuple(wanted), ())
    happens = [lanes.happens(lane, start_ns, end_ns) for lane in wanted]
    busy, quiet = (
        tuple(lane for lane, here in zip(wanted, happens, strict=True) if here is which)
        for which in (True, False)
    )
    return Shown(busy, quiet)


def _ordered(lanes: Lanes, wanted: Sequence[Lane], order: str) -> list[Lane]:
    """Within the groups, which stay where they are."""
    groups = list(dict.fromkeys(lane.group for lane in wanted))
    place = {group: i for i, group in enumerate(groups)}
    if order == "name":
        return sorted(wanted, key=lambda lane: (place[lane.group], lane.name.casefold()))
    if order == "busy":
        return sorted(wanted, key=lambda lane: (place[lane.group], -lanes.busy_ns(lane)))
    return list(wanted)


def _on_top(wanted: Sequence[Lane], first: Sequence[str]) -> list[Lane]:
    places = {name: place for place, name in enumerate(first)}
    chosen = sorted((lane for lane in wanted if lane.name in places), key=lambda x: places[x.name])
    top = [replace(lane, group=KEPT_ON_TOP) for lane in chosen]
    return [*top, *(lane for lane in wanted if lane.name not in places)]
