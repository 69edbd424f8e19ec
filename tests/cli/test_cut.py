"""`tracelens cut`: options, what it says, and the small log that it writes."""

import json
from pathlib import Path

import pytest

from tracelens.cli.main import main

ROOT = Path(__file__).parents[2]
LOG = str(ROOT / "sample_traces" / "knitting_inversion.csv")


def misses(log: str, capfd: pytest.CaptureFixture[str]) -> list[dict]:
    assert main(["report", log, "--json", "-"]) == 0
    return json.loads(capfd.readouterr().out)["misses"]


@pytest.mark.parametrize("suffix", ["csv", "csv.gz"])
def test_the_worst_miss_has_the_same_ledger_in_the_report_of_the_cut(tmp_path, capfd, suffix):
    small = str(tmp_path / f"small.{suffix}")
    assert main(["cut", LOG, "-o", small]) == 0
    said = capfd.readouterr().out
    assert "reads the same" in said
    worst = max(misses(LOG, capfd), key=lambda miss: miss["lateness_us"])
    found = max(misses(small, capfd), key=lambda miss: miss["lateness_us"])
    for key in ("task", "response_us", "deadline_us", "lateness_us", "ledger"):
        assert found[key] == worst[key]


def test_a_system_file_is_carried_over(tmp_path, capfd):
    (tmp_path / "s.toml").write_text("[tasks.panel]\ndeadline_us = 900\n")
    small = str(tmp_path / "small.csv")
    system = ["--system", str(tmp_path / "s.toml")]
    assert main(["cut", LOG, "-o", small, "--around", "0.5s", *system]) == 0
    assert "name=panel priority=2 period_us=33000 offset_us=" in Path(small).read_text()
    assert "deadline_us=900" in Path(small).read_text()


def test_to_standard_output(capfd):
    assert main(["cut", LOG, "-o", "-", "--from", "600ms", "--to", "610ms"]) == 0
    assert capfd.readouterr().out.startswith("#tracelens 1\n")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--miss", "1", "--mark", "needles_set"], "one place to cut around"),
        (["--miss", "99"], "no such miss"),
        (["--mark", "never"], "no such mark"),
        (["--around", "99s"], "no such time"),
    ],
)
def test_wrong_usage_is_one_line_and_a_hint(tmp_path, capfd, options, said):
    assert main(["cut", LOG, "-o", str(tmp_path / "small.csv"), *options]) == 2
    assert said in capfd.readouterr().err
