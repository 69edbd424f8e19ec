"""What holds for every job of every log: nothing of its time is lost or told twice."""

import io
import json
from importlib.resources import files

import jsonschema
import pytest

from tests.explanation.telling import SAMPLES
from tests.random_logs import random_log
from tracelens.explanation import Explanation, explain
from tracelens.reading import read
from tracelens.report import explained, explained_json, text

SCHEMA = jsonschema.Draft202012Validator(
    json.loads(files("tracelens.report").joinpath("explain-1.schema.json").read_text("utf-8"))
)
MOST = 6  # jobs a log, spread over the table
LOGS = sorted(SAMPLES.rglob("*.csv"))


def hold(told: Explanation) -> None:
    job = told.job
    assert sum(row.ns for row in told.rows) == job.length_ns
    spans = [(part.start_ns, part.end_ns) for part in told.told]
    for starts, ends in (
        (told.episodes["start_ns"].to_list(), told.episodes["end_ns"].to_list()),
        (told.stretches["start_ns"].to_list(), told.stretches["end_ns"].to_list()),
        ([start for start, _ in spans], [end for _, end in spans]),
    ):
        assert [*starts, job.end_ns] == [job.release_ns, *ends]
    assert sum(stretch.count for stretch in told.told) == told.stretches.height
    for stretch in told.told:
        assert sum(row.ns for row in stretch.rows) == stretch.end_ns - stretch.start_ns
    assert len(told.told) <= 15
    assert (told.backlog is not None) == any(row.entry == "backlog" for row in told.rows)
    assert sum(story.jobs for story in told.stories) == told.late_jobs
    if told.shorter is not None:
        for case in told.shorter.alone:
            assert case.left_ns + sum(part.ns for part in case.parts) == job.length_ns
            assert case.early_ns == job.deadline_ns - case.left_ns
    if told.usual is not None:
        difference = sum(growth.ns - growth.usual_ns for growth in told.usual.growths)
        assert difference == job.length_ns - told.usual.job.length_ns
    SCHEMA.validate(json.loads(explained_json.encode(told)))
    page = io.StringIO()
    text.show(explained.document(told), page, 80)
    assert max(map(len, page.getvalue().splitlines())) <= 80


@pytest.mark.parametrize("log", LOGS, ids=lambda log: log.stem)
def test_every_sample_log(log):
    run = read(log)
    for job_id in range(0, run.jobs.height, max(1, run.jobs.height // MOST)):
        hold(explain(run, job_id))


@pytest.mark.parametrize("seed", range(16))
def test_random_logs(seed, tmp_path):
    file = tmp_path / "run.csv"
    file.write_text(random_log(seed, cores=1 + seed % 2, messy=seed % 3 == 0), encoding="utf-8")
    run = read(file)
    for job_id in range(0, run.jobs.height, max(1, run.jobs.height // MOST)):
        hold(explain(run, job_id))
