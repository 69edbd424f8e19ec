"""Where results go, and what they must not cost."""

import shutil
from pathlib import Path

import pytest

from tracelens.cli.main import main

ROOT = Path(__file__).parents[2]
FILES = ("run.csv", "set.toml", "limits.toml")
LATE = ROOT / "sample_traces" / "classroom" / "process_set_a.csv"


@pytest.mark.parametrize(
    "options",
    [
        ["cut", "run.csv", "-o", "run.csv"],
        ["cut", "run.csv", "-o", "./run.csv"],
        ["convert", "run.csv", "-o", "run.csv"],
        ["report", "run.csv", "--html", "run.csv"],
        ["explain", "run.csv", "--json", "link.csv"],
        ["whatif", "run.csv", "-o", "run.csv"],
        ["simulate", "set.toml", "-o", "set.toml"],
        ["report", "run.csv", "--system", "set.toml", "--json", "set.toml"],
        ["check", "run.csv", "--budgets", "limits.toml", "--junit", "limits.toml"],
        ["compare", "run.csv", "--new", "run.csv", "--json", "run.csv"],
    ],
)
def test_what_a_command_reads_it_does_not_write_over(options, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    shutil.copy(LATE, "run.csv")
    shutil.copy(LATE.with_suffix(".toml"), "set.toml")
    Path("link.csv").symlink_to("run.csv")
    Path("limits.toml").write_text("[budgets.cores.0]\nload_max = 1.0\n")
    before = [Path(name).read_bytes() for name in FILES]
    assert main(options) == 2
    said = capsys.readouterr().err
    assert "would be written over: found the name of an input, expected another" in said
    assert "Hint: name another file" in said
    assert [Path(name).read_bytes() for name in FILES] == before


@pytest.mark.parametrize(
    ("place", "hint"),
    [
        ("nowhere/report.json", "make its directory first"),
        (".", "name another place"),
    ],
)
def test_what_cannot_be_written_says_what_to_do(place, hint, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["report", str(LATE), "--json", place]) == 2
    said = capsys.readouterr().err
    assert f"{place}: cannot be written: " in said
    assert f"Hint: {hint}" in said
