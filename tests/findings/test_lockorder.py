"""Orders of locks, against a reading hold by hold; and where very many are held at once."""

from itertools import combinations, pairwise, product
from random import Random

import pytest

from tests.frames import timeline
from tracelens.analysis import analyse
from tracelens.findings.evidence import Evidence
from tracelens.findings.lockorder import lock_orders
from tracelens.findings.thresholds import Limits
from tracelens.model.results import Timeline
from tracelens.model.system import Lock, System, Task

Hold = tuple[str, str, int, int]
"""(task, lock, from, to)."""


def _run(holds: list[Hold]) -> Timeline:
    tasks, locks, starts, ends = (list(column) for column in zip(*holds, strict=True))
    return timeline(
        span_ns=max(ends),
        system=System(
            order="higher_first",
            tasks=tuple(Task(name, name) for name in sorted(set(tasks))),
            locks=tuple(Lock(name, name) for name in sorted(set(locks))),
        ),
        holds={"task": tasks, "lock": locks, "start_ns": starts, "end_ns": ends},
    )


def _told(holds: list[Hold]) -> list[tuple[str, int, int]]:
    evidence = Evidence(analyse(_run(holds)), Limits.of({}))
    return [(str(one.subject), one.numbers["locks"], one.at_ns) for one in lock_orders(evidence)]


def _random_holds(random: Random) -> list[Hold]:
    """A task does not take what it holds."""
    holds: list[Hold] = []
    for task, lock in product("ab", "klmn"):
        times = iter(sorted(random.sample(range(60), 2 * random.randint(0, 4))))
        holds += [(task, lock, begin, end) for begin, end in zip(times, times, strict=True)]
    return holds


@pytest.mark.parametrize("seed", range(40))
def test_of_two_locks_it_says_who_takes_them_in_which_order_and_since_when(seed: int) -> None:
    holds = [one for one in _random_holds(Random(seed)) if one[1] in "kl"]
    first: dict[tuple[str, str], dict[str, int]] = {("k", "l"): {}, ("l", "k"): {}}
    for one, other in product(holds, holds):
        if one[0] == other[0] and one[1] != other[1] and one[2] < other[2] < one[3]:
            since = first[one[1], other[1]]
            since[one[0]] = min(other[2], since.get(one[0], other[2]))
    both = all(first.values()) and len({task for since in first.values() for task in since}) > 1
    latest = max((min(since.values()) for since in first.values() if since), default=0)
    assert _told(holds) == ([("k", 2, latest)] if both else [])


def test_each_pair_of_locks_is_told_where_each_nests_in_each() -> None:
    holds = []
    for place, (one, other) in enumerate(combinations("klm", 2)):
        begin = 100 * place
        holds += [("a", one, begin, begin + 9), ("a", other, begin + 3, begin + 6)]
        holds += [("b", other, begin + 50, begin + 59), ("b", one, begin + 53, begin + 56)]
    assert _told(holds) == [("k", 2, 53), ("l", 2, 253), ("m", 2, 153)]


def _all_at_once(task: str, locks: list[str], begin: int) -> list[Hold]:
    count = len(locks)
    return [(task, lock, begin + k, begin + 3 * count - k) for k, lock in enumerate(locks)]


def test_of_too_many_orders_those_of_locks_next_to_each_other_are_kept(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("tracelens.findings.lockorder.MOST_PAIRS", 2000)
    monkeypatch.setattr("tracelens.findings.lockorder.MOST_ORDERS", 200)
    holds = _all_at_once("a", [f"l{k:03}" for k in range(200)], 0)
    holds += [("b", "l001", 2000, 2009), ("b", "l000", 2003, 2006)]
    assert _told(holds) == [("l000", 2, 2003)]


@pytest.mark.night
def test_thousands_of_locks_held_at_once_are_some_work_only() -> None:
    """Each pair of them would be two hundred million orders."""
    holds = _all_at_once("a", [f"l{k:05}" for k in range(20_000)], 0)
    assert _told(holds) == []


def test_a_ring_of_many_locks_is_one_cycle(monkeypatch: pytest.MonkeyPatch) -> None:
    ring = [f"l{k:03}" for k in range(300)]
    holds = []
    for k, (held, taken) in enumerate(pairwise([*ring, ring[0]])):
        holds += [
            (f"t{k % 2}", held, 10 * k, 10 * k + 9),
            (f"t{k % 2}", taken, 10 * k + 3, 10 * k + 6),
        ]
    assert _told(holds) == [("l000", 300, 2993)]
    monkeypatch.setattr("tracelens.findings.lockorder.MOST_ORDERS", 299)
    assert _told(holds) == []
