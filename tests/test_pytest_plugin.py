"""The pytest plugin and the assertions of `tracelens.testing`, as a test of firmware uses them."""

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from tests.cli.conftest import INVERSION
from tests.verdicts.runs import hundred, small
from tracelens.errors import UsageError
from tracelens.model.budgets import MEASURES
from tracelens.testing import MeasuredRun, assert_meets

pytest_plugins = ["pytester"]

ROOT = Path(__file__).parents[1]

TESTS = """
    from tracelens.testing import assert_meets

    def test_a_limit_that_is_broken(tracelens_read):
        run = tracelens_read("run.csv")
        assert run.task("needle_select").response.max_us < 48

    def test_the_other_way_round(tracelens_read):
        assert 47.5 >= tracelens_read("run.csv").task("needle_select").response.max_us

    def test_a_budgets_file(tracelens_read):
        assert_meets(tracelens_read("run.csv"), "budgets.toml")

    def test_what_is_met(tracelens_read):
        run = tracelens_read("run.csv")
        assert run.task("needle_select").response.max_us <= 48
        assert run.task("needle_select").misses == 1
"""
BUDGETS = "[budgets.tasks.needle_select]\nmisses = 0\nresponse_max_us = 48\n"


@pytest.fixture
def result(pytester, monkeypatch):
    """What pytest says about `TESTS`, with the plugin loaded by name."""
    monkeypatch.setenv("PYTEST_DISABLE_PLUGIN_AUTOLOAD", "1")
    pytester.path.joinpath("run.csv").write_text(INVERSION, encoding="utf-8")
    pytester.path.joinpath("budgets.toml").write_text(BUDGETS, encoding="utf-8")
    pytester.makepyfile(TESTS)
    return pytester.runpytest_inprocess("-p", "tracelens.pytest_plugin", "--basetemp=tmp")


def test_a_failure_explains_itself_and_brings_the_report(result, pytester):
    result.assert_outcomes(passed=1, failed=3)
    result.stdout.fnmatch_lines(
        [
            "*test_a_limit_that_is_broken*",
            "E   *assert needle_select response_max_us: 48 < 48",
            "E   *of 1 job",
            "E   *job 1, released at 0.000018 s (run.csv:14)",
            "E   *inversion by link via flash_bus 18 µs",
            "E   *blocked by archive via flash_bus 14 µs",
            "*tracelens report, also in *run.csv-1.report.txt*",
            "run.csv",
            "*Late jobs, the worst first*",
            "*test_the_other_way_round*",
            "E   *needle_select response_max_us: 48 <= 47.5",
            "*test_a_budgets_file*",
            "E   *1 of 2 limits of budgets.toml are not met:",
            "E   *needle_select: misses is 1 (1 job), 1 more than*; job 1*inversion by link*",
        ]
    )
    page = next(pytester.path.glob("tmp/test_a_budgets_file*/run.csv-1.report.txt"))
    assert "needle_select missed its deadline" in page.read_text("utf-8")


def test_a_test_that_passes_leaves_no_report(result, pytester):
    pages = {page.resolve().parent.name for page in pytester.path.glob("tmp/*/*.report.txt")}
    assert sorted(pages) == [
        *("test_a_budgets_file0", "test_a_limit_that_is_broken0", "test_the_other_way_round0")
    ]


def test_the_package_brings_the_plugin():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert project["entry-points"]["pytest11"] == {"tracelens": "tracelens.pytest_plugin"}


def test_the_plugin_brings_nothing_heavy_into_a_run_that_does_not_use_it():
    code = (
        "import pytest, sys; before = set(sys.modules); import tracelens.pytest_plugin; "
        "print(sorted({name for name in set(sys.modules) - before if '.' not in name}))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout == "['tracelens']\n"


# --- the assertions ---


@pytest.fixture(scope="module")
def run():
    return MeasuredRun(small())


def test_names_are_those_of_budgets_with_a_dot_or_without(run):
    control = run.task("control")
    assert control.response.max_us == control.response_max_us == 50
    assert control.start_latency.max_us == 2
    assert control.stack.free_min_bytes == 400
    assert run.core("main").load_max == pytest.approx(254 / 600)
    assert run.isr("encoder").latency.max_us == 2
    assert run.lock("bus").hold.max_us == 24
    assert run.queue("rows").most_items_max == 1
    assert run.chain("row").latency.max_us == 130
    assert run.marked_phase("knit").duration_max_us == 500
    assert run.log.lost_events_max == 0
    assert set(MEASURES["tasks"]) <= set(dir(control))


def test_a_part_of_the_run(run):
    assert run.during("knit").task("control").jobs_min == 5
    assert run.between(100, 300).task("control").jobs_min == 2


def test_a_comparison_holds_only_if_it_does_whatever_is_unknown():
    sound, lossy = (MeasuredRun(hundred(gap=gap)).task("control") for gap in (False, True))
    assert sound.response.max_us < 311
    assert not lossy.response.max_us < 311
    assert not lossy.response.max_us > 311
    assert lossy.response.max_us > 309
    assert lossy.response.max_us != 310
    assert lossy.response.max_us.explain("<", 311)[:2] == [
        "control response_max_us: 310 < 311",
        "not known for certain: part of the log is unknown, and one more of its jobs may lie in it",
    ]
    assert lossy.misses != 0


@pytest.mark.parametrize(
    ("ask", "error", "says"),
    [
        (lambda run: run.task("contrl"), UsageError, "no such task: found 'contrl'"),
        (lambda run: run.task("control").respons, AttributeError, "respons is no measure of a"),
        (
            lambda run: run.task("control").response.mx_us,
            AttributeError,
            "did you mean response_max_us?",
        ),
        (
            lambda run: run.task("logger").stack.free_min_bytes,
            AssertionError,
            "logger stack_free_min_bytes was not measured: the log has no mark of its stack",
        ),
    ],
)
def test_what_is_not_there_is_told(run, ask, error, says):
    with pytest.raises(error, match=says.replace("?", r"\?")):
        ask(run)


def test_what_a_budgets_file_leaves_open_fails(run, tmp_path):
    file = tmp_path / "budgets.toml"
    file.write_text("[budgets.tasks.control]\nresponse_p99_us = 60\n", encoding="utf-8")
    with pytest.raises(AssertionError, match="6 jobs, too few for the 99th percentile"):
        assert_meets(run, file)
    file.write_text("[budgets.tasks.control]\nmisses = 1\n", encoding="utf-8")
    assert_meets(run, file)


def test_what_a_budgets_file_declares_holds(run, tmp_path):
    file = tmp_path / "budgets.toml"
    limits = "[budgets.tasks.control]\nmisses = 0\n[budgets.chains.back]\ninstances_min = 1\n"
    declared = '[tasks.control]\ndeadline_us = 50\n[chains.back]\npath = ["encoder", "control"]\n'
    file.write_text(declared + limits, encoding="utf-8")
    with pytest.raises(
        AssertionError, match=r"1 of 2 limits .* are not met:\nback: instances_min is"
    ):
        assert_meets(run, file)
