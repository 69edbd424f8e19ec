"""Random logs are what they claim to be, and the reference reading of each hangs together."""

from collections import Counter, defaultdict
from typing import Any

import pytest

from tests.random_logs import random_log
from tests.reference import Result, analyse_text
from tests.reference.lines import WORDS

SEEDS = range(40)
KINDS = [(cores, messy) for cores in (1, 2) for messy in (False, True)]


def logs(cores: int, messy: bool) -> list[tuple[int, str]]:
    return [(seed, random_log(seed, cores=cores, messy=messy)) for seed in SEEDS]


def test_the_same_seed_gives_the_same_log() -> None:
    for cores, messy in KINDS:
        one = random_log(7, events=120, cores=cores, messy=messy)
        assert one == random_log(7, events=120, cores=cores, messy=messy)
    assert random_log(1) != random_log(2)


def test_every_event_word_comes_up() -> None:
    seen: Counter[str] = Counter()
    for seed in range(120):
        for row in random_log(seed, cores=2, messy=True).splitlines():
            if not row.startswith("#") and row.count(",") == 4:
                seen[row.split(",")[2]] += 1
    assert set(seen) - {"event"} == WORDS


def test_orderly_logs_have_little_to_mend() -> None:
    contradictory = 0
    for cores, messy in KINDS:
        for _, text in [] if messy else logs(cores, messy):
            result = analyse_text(text)
            assert result.document["log"]["lost_events"] == 0
            assert result.document["log"]["boots"] == 1
            contradictory += bool(result.contradictions)
    assert contradictory <= len(SEEDS) // 4


@pytest.mark.parametrize(("cores", "messy"), KINDS)
def test_states_and_occupants_tile_the_span(cores: int, messy: bool) -> None:
    for seed, text in logs(cores, messy):
        result = analyse_text(text)
        by_thing: dict[Any, list[tuple[int, int]]] = defaultdict(list)
        for name, start, end, *_ in result.states:
            by_thing[name].append((start, end))
        for core, start, end, *_ in result.occupancy:
            by_thing[core].append((start, end))
        for thing, intervals in by_thing.items():
            edges = [0]
            for start, end in intervals:
                assert start == edges[-1] < end, (seed, thing)
                edges.append(end)
            assert edges[-1] == result.world.span, (seed, thing)


@pytest.mark.parametrize(("cores", "messy"), KINDS)
def test_who_has_a_core_runs_there(cores: int, messy: bool) -> None:
    for seed, text in logs(cores, messy):
        result = analyse_text(text)
        for core, start, end, kind, who in result.occupancy:
            if who is None or kind == "isr":
                continue
            at = start
            for name, a, b, state, where, _ in result.states:
                if name == who and a <= at < min(b, end):
                    assert (state, where) == ("running", core), (seed, who, at)
                    at = b
            assert at >= end


@pytest.mark.parametrize(("cores", "messy"), KINDS)
def test_ledgers_add_up_and_jobs_execute_what_their_task_executes(cores: int, messy: bool) -> None:
    for seed, text in logs(cores, messy):
        result = analyse_text(text)
        in_jobs: Counter[str] = Counter()
        numbers: Counter[str] = Counter()
        for name, release, first, end, _status, _, _, execution in result.jobs:
            numbers[name] += 1
            ledger = result.ledgers[name, numbers[name]]
            assert sum(ledger.values()) == end - release, (seed, name)
            assert first is None or release <= first <= end, (seed, name)
            in_jobs[name] += execution
        totals = totals_of(result)
        for name, execution in in_jobs.items():
            assert execution <= totals[name], (seed, name)


@pytest.mark.parametrize(("cores", "messy"), KINDS)
def test_inversions_lie_in_their_bounds(cores: int, messy: bool) -> None:
    for seed, text in logs(cores, messy):
        for inversion in analyse_text(text).document["inversions"]:
            inside = inversion["holder_us"] + inversion["third_party_us"]
            assert 0 <= inside <= inversion["duration_us"] + 1e-6, seed
            assert inversion["chain"], seed
            assert inversion["victim"] not in inversion["chain"], seed


def totals_of(result: Result) -> dict[str, int]:
    """Each task's execution over the log, in ns."""
    return {
        task["name"]: round(task["execution_us"]["total"] * 1000)
        for task in result.document["tasks"]
    }
