"""Runs for the tests of the replay: simulated ones, and what is compared of them."""

from functools import cache
from pathlib import Path

import polars as pl

from tracelens.engine import simulate
from tracelens.formats.taskset_toml import parse_taskset
from tracelens.log import read_bytes
from tracelens.model.results import Timeline
from tracelens.reconstruct import reconstruct
from tracelens.replay import Replayer, prepare

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_traces"


@cache
def simulated(text: str, *, seed: int | None = None, until_ns: int | None = None) -> Timeline:
    """The run that the log of a task set tells of."""
    done = simulate(parse_taskset(text), seed=seed, until_ns=until_ns)
    return reconstruct(read_bytes(done.log, "simulated"))


@cache
def prepared(text: str, *, until_ns: int | None = None) -> Replayer:
    """The same, ready to be replayed with changes."""
    return prepare(simulated(text, until_ns=until_ns))


def responses(run: Timeline, *tasks: str) -> pl.DataFrame:
    """Release and response of every complete job, of all tasks or some."""
    jobs = run.jobs.filter(pl.col("status") == "complete").with_columns(
        pl.col("task").cast(pl.String)
    )
    if tasks:
        jobs = jobs.filter(pl.col("task").is_in(tasks))
    return jobs.select("task", "job", "release_ns", "response_ns", "late").sort("task", "job")


def same_work(run: Timeline, recorded: Timeline) -> pl.DataFrame:
    """As `responses`, up to the first job that the record cuts: of that it does not know all."""
    jobs = recorded.jobs.filter(pl.col("status") == "open")
    cut_ns = jobs["release_ns"].min() or recorded.span_ns
    return responses(run).filter(pl.col("release_ns") + pl.col("response_ns") <= cut_ns)
