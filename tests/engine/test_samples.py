"""The sample logs are what their task sets make, and show what their README says."""

import gzip
import runpy
from pathlib import Path

import polars as pl
import pytest

from tracelens.engine import Simulated, simulate
from tracelens.formats.taskset_toml import read_taskset

FOLDER = Path(__file__).parents[2] / "sample_traces"
SETS = sorted(
    path
    for path in FOLDER.rglob("*.toml")
    if not path.stem.endswith("_budgets") and path.parent.name != "mapping"
)
MAKE = runpy.run_path(str(FOLDER / "make.py"))


@pytest.mark.parametrize("path", SETS, ids=lambda path: path.stem)
def test_up_to_date(path):
    """`python sample_traces/make.py` would change nothing."""
    name, log = MAKE["make"](path)
    assert path.with_name(name).read_bytes() == log
    assert len(gzip.decompress(log) if name.endswith(".gz") else log) < 1_000_000
    assert len(log) <= 300_000


def test_each_is_in_the_readme():
    text = (FOLDER / "README.md").read_text(encoding="utf-8")
    assert [path.stem for path in SETS if f"`{path.stem}`" not in text] == []


def knitting(name: str) -> Simulated:
    return simulate(read_taskset(FOLDER / f"knitting_{name}.toml"))


def late(done: Simulated) -> dict[str, int]:
    rows = done.truth.jobs.filter("late").group_by("task").len().rows()
    return {str(task): count for task, count in rows}


def share(done: Simulated, occupant: str) -> float:
    rows = done.truth.occupancy.filter(pl.col("occupant") == occupant)
    return (rows["end_ns"] - rows["start_ns"]).sum() / done.truth.span_ns


def least_free(done: Simulated, task: str) -> int:
    ids = {one.name: one.id for one in done.declared.tasks}
    rows = done.events.filter((pl.col("event") == "stack") & (pl.col("subject") == ids[task]))
    return int(rows["value"].cast(pl.String).cast(pl.Int64).min())


def test_healthy():
    done = knitting("healthy")
    assert late(done) == {}
    assert round(1 - share(done, "idle"), 2) == 0.62
    waits = done.truth.inversions["end_ns"] - done.truth.inversions["start_ns"]
    assert waits.max() < 1_000_000


def test_inversion_and_its_repair():
    broken, mended = knitting("inversion"), knitting("mended")
    assert late(broken) == {"needle_select": 4}
    assert late(mended) == {}
    worst = broken.truth.inversions.sort("third_party_ns").tail(1)
    assert worst.select("victim", "lock", "chain").rows() == [
        ("needle_select", "flash_bus", ["archive"])
    ]
    assert worst["third_party_ns"].item() == 3_947_000
    assert mended.truth.inversions["third_party_ns"].sum() == 0


def test_overloaded():
    done = knitting("overloaded")
    assert share(done, "idle") < 0.001
    archive = done.truth.jobs.filter(pl.col("task") == "archive")
    assert archive["late"].all()
    assert late(done) == {"panel": 5, "archive": archive.height}


def test_thin_stack():
    done = knitting("thin_stack")
    assert (least_free(done, "link"), least_free(done, "row_worker")) == (20, 92)


def test_full_queue():
    done = knitting("full_queue")
    rows = done.events.filter(pl.col("value") == "q1")
    change = pl.when(pl.col("event") == "send").then(1)
    change = change.when(pl.col("event") == "receive").then(-1).otherwise(0)
    rows = rows.with_columns(change.cum_sum().alias("items"))
    assert rows["items"].max() == 8
    assert rows.filter(pl.col("items") == 8)["time_ns"][0] // 1_000_000 == 741
    assert late(done)["pattern_fetch"] > 0
    assert round(share(done, "idle"), 1) == 0.4


def test_asleep():
    done = knitting("asleep")
    assert round(share(done, "asleep"), 2) == 0.99
    wakes = done.events.filter(pl.col("event") == "wake").height
    assert round(wakes / (done.truth.span_ns / 1e9)) == 24
