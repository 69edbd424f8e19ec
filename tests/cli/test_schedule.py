"""`tracelens schedule`, from a file to every output."""

import json
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest

from tracelens.cli.main import main

SCHEMA = json.loads(files("tracelens.report").joinpath("schedule-1.schema.json").read_text("utf-8"))
SAMPLES = Path(__file__).parents[2] / "sample_traces"
CLASSROOM = SAMPLES / "classroom"

TITLES = [
    "Worst-case response times",
    "How they come about",
    "Bounds",
    "Scheduling points",
    "Priority orders",
    "Margins",
    "What this rests on",
]


def of(source, capsys, *more: str) -> dict:
    assert main(["schedule", str(source), "--json", "-", *more]) == 0
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, SCHEMA)
    return document


def test_a_person_reads_the_verdict_first_and_the_rest_in_order(capsys):
    assert main(["schedule", str(CLASSROOM / "process_set_a.toml")]) == 0
    page = capsys.readouterr().out
    assert "Not schedulable: at least one deadline cannot be kept." in page
    assert "c: 12000 → 32000 → 42000 → 52000" in page
    places = [page.splitlines().index(title) for title in TITLES]
    assert places == sorted(places)
    assert max(map(len, page.splitlines())) <= 80


def test_of_a_log_the_columns_fit_a_page_too(capsys):
    """Its times are no whole µs, and it has two cores, each with a table of its own."""
    assert main(["schedule", str(SAMPLES / "knitting_two_cores.csv")]) == 0
    page = capsys.readouterr().out
    assert max(map(len, page.splitlines())) <= 80
    assert "To the whole µs on the safe side; --json is exact." in page
    assert page.index("Core motion:") < page.index("needle_select        6")
    assert page.index("Core service:") < page.index("pattern_fetch     4")


def test_the_json_keeps_the_contract(capsys):
    """Process set A of Burns & Wellings, in ms: R = 10, 20, 52, U = 247/300."""
    document = of(CLASSROOM / "process_set_a.toml", capsys)
    assert [t["response_us"] for t in document["tasks"]] == [10000, 20000, 52000]
    assert [t["ok"] for t in document["tasks"]] == [True, True, False]
    assert document["tasks"][2]["iterations"] == [12000, 32000, 42000, 52000]
    assert document["utilisation_exact"] == "247/300"
    assert document["bounds"]["liu_layland"]["value"] == pytest.approx(0.779763, abs=1e-6)
    assert document["bounds"]["liu_layland"]["verdict"] == "inconclusive"
    assert document["verdict"] == "unschedulable"


def test_demand_under_earliest_deadline_first(capsys):
    """Buttazzo's (2, 5), (4, 7): demand 2 at 5, 6 at 7, 8 at 10, 12 at 14."""
    document = of(CLASSROOM / "edf_two_tasks.toml", capsys)
    points = [(p["t_us"], p["demand_us"]) for p in document["demand"]]
    assert points == [(5000, 2000), (7000, 6000), (10000, 8000), (14000, 12000)]
    assert document["verdict"] == "schedulable"


@pytest.mark.parametrize("source", sorted(CLASSROOM.glob("*.toml")), ids=lambda path: path.stem)
def test_every_classroom_set_can_be_analysed(source, capsys):
    assert of(source, capsys)["tasks"]


def test_cores_are_counted_although_nothing_is_bound_to_them(capsys):
    assert main(["schedule", str(CLASSROOM / "heavy_beside_light.toml")]) == 0
    assert capsys.readouterr().out.splitlines()[1].startswith("fixed priorities · 2 cores · 3 ")


def test_of_a_log_the_worst_seen_stands_beside_the_bound(capsys, tmp_path):
    target = tmp_path / "schedule.json"
    assert main(["schedule", str(SAMPLES / "knitting_healthy.csv"), "--json", str(target)]) == 0
    assert "Seen is the longest response of this run." in " ".join(capsys.readouterr().out.split())
    document = json.loads(target.read_text("utf-8"))
    jsonschema.validate(document, SCHEMA)
    assert document["verdict"] == "schedulable"
    seen = {t["name"]: t["observed"]["response_us"] for t in document["tasks"]}
    bounds = {t["name"]: t["response_us"] for t in document["tasks"]}
    assert len(seen) == 7
    assert all(seen[name] <= bounds[name] for name in seen)


@pytest.mark.parametrize(
    ("name", "on_unschedulable", "on_inconclusive"),
    [("response_time_example", 0, 0), ("lander_none", 0, 1), ("process_set_a", 1, 1)],
)
def test_fail_on_makes_it_a_verdict(name, on_unschedulable, on_inconclusive, capsys):
    told = ["schedule", str(CLASSROOM / f"{name}.toml")]
    assert main(told) == 0
    assert main([*told, "--fail-on", "unschedulable"]) == on_unschedulable
    assert main([*told, "--fail-on", "inconclusive"]) == on_inconclusive


@pytest.mark.parametrize(
    ("arguments", "status", "says"),
    [
        (["missing.toml"], 3, "no such file"),
        ([str(CLASSROOM / "process_set_a.toml"), "run.csv"], 2, "found 2 files"),
        ([str(CLASSROOM / "process_set_a.toml"), "--system", "s.toml"], 2, "--system is for a log"),
    ],
)
def test_a_mistake_is_one_line_and_a_hint(arguments, status, says, capsys):
    assert main(["schedule", *arguments]) == status
    lines = capsys.readouterr().err.splitlines()
    assert says in lines[0]
    assert len(lines) <= 2


def test_a_set_that_makes_no_sense_is_refused(tmp_path, capsys):
    file = tmp_path / "set.toml"
    file.write_text('[tasks.a]\nperiod_us = 10\nbody = ["lock x", "run 1"]\n', encoding="utf-8")
    assert main(["schedule", str(file)]) == 3
    assert "Traceback" not in capsys.readouterr().err
