"""What holds for every log: tiling, sums, one occupant a core; parts make no difference."""

import os
from collections.abc import Iterator

import numpy as np
import polars as pl
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from tests.random_logs import random_log
from tracelens.log import read_bytes
from tracelens.model.columns import Name
from tracelens.model.results import Timeline
from tracelens.model.tables import RECONSTRUCTED
from tracelens.reconstruct import reconstruct

logs = st.builds(
    random_log,
    st.integers(0, 10_000),
    cores=st.sampled_from([1, 2]),
    messy=st.booleans(),
)


def _read(text: str, part_events: int = 0) -> Timeline:
    return reconstruct(read_bytes(text.encode(), "log.csv"), part_events=part_events)


def _assert_tiles(frame: pl.DataFrame, by: str, span_ns: int) -> None:
    """Every thing's intervals cover [0, span) once, without gap or overlap, none empty."""
    for (thing,), mine in frame.group_by(by):
        rows = mine.sort("start_ns").select("start_ns", "end_ns").rows()
        assert all(start < end for start, end in rows), thing
        assert rows[0][0] == 0, thing
        assert rows[-1][1] == span_ns, thing
        assert all(rows[i][1] == rows[i + 1][0] for i in range(len(rows) - 1)), thing


@settings(max_examples=30)
@given(logs)
def test_states_and_occupants_tile_the_span(text: str) -> None:
    run = _read(text)
    if run.span_ns:
        _assert_tiles(run.task_states, "task", run.span_ns)
        _assert_tiles(run.occupancy, "core", run.span_ns)
        assert set(run.task_states["task"].unique()) == {task.name for task in run.system.tasks}


@settings(max_examples=30)
@given(logs)
def test_a_jobs_episodes_tile_it_and_so_its_ledger_sums_to_its_response(text: str) -> None:
    run = _read(text)
    spans = {job["job_id"]: (job["release_ns"], job["end_ns"]) for job in run.jobs.to_dicts()}
    for (job,), mine in run.episodes.group_by("job_id"):
        rows = mine.sort("start_ns").select("start_ns", "end_ns").rows()
        release, end = spans.pop(job)
        assert (rows[0][0], rows[-1][1]) == (release, end)
        assert all(rows[i][1] == rows[i + 1][0] for i in range(len(rows) - 1))
    assert all(release == end for release, end in spans.values()), "a job without a ledger"


@settings(max_examples=30)
@given(logs)
@example(random_log(9496, cores=2, messy=True))  # a gap that takes back a part of a wait
def test_a_task_runs_where_it_occupies_and_jobs_do_not_run_longer_than_they_last(text: str) -> None:
    run = _read(text)
    assert (run.jobs["execution_ns"] <= run.jobs["end_ns"] - run.jobs["release_ns"]).all()
    assert (
        (run.inversions["holder_ns"] + run.inversions["third_party_ns"])
        .is_between(0, run.inversions["end_ns"] - run.inversions["start_ns"])
        .all()
    )
    assert (run.isr_runs["own_ns"] <= run.isr_runs["end_ns"] - run.isr_runs["start_ns"]).all()
    assert (run.holds["own_ns"] >= 0).all()


@settings(max_examples=20)
@given(logs, st.integers(1, 40))
def test_parts_make_no_difference(text: str, part_events: int) -> None:
    _assert_same(_read(text), _read(text, part_events))


def _assert_same(one: Timeline, other: Timeline) -> None:
    for name in RECONSTRUCTED:
        assert_frame_equal(getattr(one, name), getattr(other, name))


@pytest.fixture
def compiled_with_bounds() -> Iterator[None]:
    before = {key: os.environ.get(key) for key in ("TRACELENS_COMPILED", "TRACELENS_PLAIN")}
    os.environ["TRACELENS_COMPILED"] = "1"
    os.environ.pop("TRACELENS_PLAIN", None)
    yield
    for key, value in before.items():
        if value is None:
            os.environ.pop(key, None)
        else:
            os.environ[key] = value


def test_compiled_and_plain_are_the_same(
    compiled_with_bounds: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("numba", reason="numba is optional where it has no wheel")
    texts = [random_log(seed, cores=1 + seed % 2, messy=seed % 3 == 0) for seed in range(24)]
    compiled = [_read(text) for text in texts]
    monkeypatch.setenv("TRACELENS_PLAIN", "1")
    for text, run in zip(texts, compiled, strict=True):
        _assert_same(_read(text), run)


@settings(max_examples=20)
@given(logs)
def test_tables_are_as_documented(text: str) -> None:
    run = _read(text)
    for name, contract in RECONSTRUCTED.items():
        frame: pl.DataFrame = getattr(run, name)
        assert list(frame.columns) == list(contract.columns), name
        for column, dtype in contract.schema().items():
            if dtype is Name:
                assert isinstance(frame.schema[column], pl.Enum), (name, column)
            else:
                assert frame.schema[column] == dtype, (name, column)


def test_an_envelope_lies_under_every_release() -> None:
    from tracelens.reconstruct.grid import envelope

    # Worked by hand: period 100, releases late by 7, 3, 12 and, after one is missing, by 5.
    assert envelope(np.array([107, 203, 312, 505]), 100) == 103
