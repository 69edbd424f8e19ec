"""`tracelens simulate`: a log from a task set, the same each time, and one line for a mistake."""

import gzip
from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner

from tracelens.cli.simulate import simulate
from tracelens.errors import SystemFileError, UsageError
from tracelens.log import read

SET = Path(__file__).parents[2] / "sample_traces" / "knitting_healthy.toml"


def make(*words: str):
    return CliRunner().invoke(simulate, [str(SET), *words], catch_exceptions=True)


def test_a_log_that_reads_back(tmp_path):
    target = tmp_path / "run.csv"
    result = make("-o", str(target), "--until", "50ms")
    assert result.exit_code == 0
    log = read([str(target)])
    assert result.output == f"{target}: {log.events.height} events over 0.05 s\n"
    assert log.unused.is_empty()


def test_seed_and_compression(tmp_path):
    names = ["a.csv", "b.csv.gz", "c.csv.zst", "d.csv"]
    for name, seed in zip(names, ["5", "5", "5", "6"], strict=True):
        made = make("-o", str(tmp_path / name), "--until", "50ms", "--seed", seed)
        assert made.exit_code == 0
    plain = (tmp_path / "a.csv").read_bytes()
    assert gzip.decompress((tmp_path / "b.csv.gz").read_bytes()) == plain
    assert (
        read([str(tmp_path / "c.csv.zst")]).events.height
        == read([str(tmp_path / "a.csv")]).events.height
    )
    assert (tmp_path / "d.csv").read_bytes() != plain


def test_standard_output_is_the_log_alone():
    result = make("-o", "-", "--until", "5ms")
    assert result.stdout.startswith("#tracelens 1\n")
    assert result.stdout.endswith("5000,0,mark,end_of_run,\n")


def test_damage_with_the_truth_beside_it(tmp_path):
    target, truth = tmp_path / "bad.csv", tmp_path / "truth"
    words = ("--damage", "loss=0.1", "--damage", "bits=16", "--truth", str(truth))
    assert make("-o", str(target), "--until", "100ms", *words).exit_code == 0
    assert b",lost," in target.read_bytes()
    assert b",lost," not in (truth / "undamaged.csv").read_bytes()
    jobs = pl.read_parquet(truth / "jobs.parquet")
    assert jobs.filter(pl.col("task") == "needle_select").height == 50


@pytest.mark.parametrize(
    ("words", "error", "message"),
    [
        (["--damage", "los=1"], UsageError, "--damage los=1: 'los' is no kind of damage"),
        (["--until", "0s"], UsageError, "no end of the run: found 0"),
    ],
)
def test_mistakes(tmp_path, words, error, message):
    result = make("-o", str(tmp_path / "x.csv"), *words)
    assert isinstance(result.exception, error)
    assert message in str(result.exception)
    assert not (tmp_path / "x.csv").exists()


def test_a_mistake_in_the_task_set(tmp_path):
    path = tmp_path / "set.toml"
    path.write_text('[tasks.a]\nprority = 1\nbody = ["run 5"]\n')
    result = CliRunner().invoke(simulate, [str(path), "-o", str(tmp_path / "x.csv")])
    assert isinstance(result.exception, SystemFileError)
    assert str(result.exception) == (
        f"{path}: tasks.a.prority is not a key: did you mean priority?"
    )


def test_a_run_without_end_is_refused_at_once(tmp_path):
    made = tmp_path / "set.toml"
    made.write_text(
        '[priority]\norder = "higher_first"\n[tasks.a]\npriority = 1\n'
        'period_us = 1\nbody = ["run 0.5"]\n'
    )
    words = [str(made), "-o", str(tmp_path / "log.csv"), "--until", "3600s"]
    done = CliRunner().invoke(simulate, words)
    assert isinstance(done.exception, UsageError)
    assert "too much happens: found 3600000000 releases" in str(done.exception)
