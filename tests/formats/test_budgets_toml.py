"""[budgets] of a file: what its values mean, and the one line that each mistake gets."""

import json
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracelens.errors import SystemFileError
from tracelens.formats.budgets_text import number_text, write
from tracelens.formats.toml_lines import lines_of
from tracelens.formats.toml_schema import parse_toml
from tracelens.model.budgets import MEASURES, Budget, Budgets, Waiver

HEAD = "[budgets.tasks.needle_select]\n"


def budgets(text: str) -> Budgets:
    return parse_toml(text, "B.toml").budgets


def only(text: str) -> Budget:
    (budget,) = budgets(text).limits
    return budget


def mistake(text: str) -> str:
    """The one line said about a file, and its hint."""
    with pytest.raises(SystemFileError) as caught:
        budgets(text)
    message = str(caught.value)
    assert "\n" not in message
    return message if caught.value.hint is None else f"{message} | {caught.value.hint}"


@pytest.mark.parametrize(
    ("line", "limit"),
    [
        ("response_max_us = 1800", 1_800_000),
        ("response_max_us = 1800.001", 1_800_001),
        ("response_p99_us = { at_most = 0.5 }", 500),
        ("load_max = 0.7", 0.7),
        ("load_max = 1", 1.0),
        ("jobs_min = { at_least = 100 }", 100),
        ("stack_free_min_bytes = 64", 64),
        ("misses = 0", 0),
    ],
)
def test_a_limit_is_a_number_in_the_unit_of_its_key(line, limit):
    budget = only(HEAD + line)
    assert budget.limit == limit
    assert (budget.group, budget.name, budget.phase) == ("tasks", "needle_select", None)
    assert (budget.severity, budget.reason, budget.waiver, budget.line) == ("error", "", None, 2)


def test_misses_may_be_at_most_so_many_of_any_so_many():
    budget = only(HEAD + "misses = { at_most = 1, of = 10 }")
    assert (budget.limit, budget.of) == (1, 10)


def test_a_limit_has_what_its_table_says_unless_it_says_so_itself():
    first, second = budgets(
        HEAD
        + 'severity = "warning"\nreason = "the solenoids"\n'
        + "response_max_us = 1800\n"
        + 'misses = { at_most = 0, severity = "error", '
        + 'waiver = { until = 2027-01-31, reason = "driver 2.3" } }\n'
    ).limits
    assert (first.severity, first.reason, first.waiver) == ("warning", "the solenoids", None)
    assert (second.severity, second.reason) == ("error", "the solenoids")
    assert second.waiver == Waiver(date(2027, 1, 31), "driver 2.3")


def test_phases_hold_limits_of_their_own_and_of_things():
    found = budgets(
        "[budgets.phases.knit]\nduration_max_us = 5\n"
        "[budgets.phases.knit.tasks.a]\nmisses = 0\n"
        "[budgets.log]\nlost_events_max = 0\n"
    )
    told = [(b.table, b.measure.key, b.phase, b.line) for b in found.limits]
    assert told == [
        ("budgets.phases.knit.tasks.a", "misses", "knit", 4),
        ("budgets.phases.knit", "duration_max_us", None, 2),
        ("budgets.log", "lost_events_max", None, 6),
    ]
    assert list(found.phases()) == ["knit", None]


def test_a_limit_knows_its_line_whatever_stands_around_it():
    text = (
        '# remarks\n\n[tasks.a]\nbody = [\n  "run 5",  # five\n]\n'
        '[budgets]\ntolerated_loss = 0.001\n\n[budgets.tasks."needle_*"]\nload_max = 0.5\n'
        "\n[budgets.tasks]\nlink.misses = 0\narchive = { load_max = 0.2, misses = 3 }\n"
    )
    assert [(b.name, b.line) for b in budgets(text).limits] == [
        ("needle_*", 11),
        ("link", 14),
        ("archive", 15),
        ("archive", 15),
    ]
    assert lines_of(text)["tasks", "a", "body"] == 4
    assert [b.line for b in budgets(text.replace("\n", "\r\n")).limits] == [11, 14, 15, 15]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        # a misspelt key
        (
            HEAD + "respons_max_us = 1800",
            "B.toml:2: budgets.tasks.needle_select.respons_max_us is not a key: "
            "did you mean response_max_us?",
        ),
        (
            "[budgets.task.needle_select]\nmisses = 0",
            "B.toml:1: budgets.task is not a key: did you mean tasks?",
        ),
        (
            "[budgets.phases.knit.task.a]\nmisses = 0",
            "B.toml:1: budgets.phases.knit.task is not a key: did you mean tasks?",
        ),
        (
            "[budgets.log]\nzzz = 0",
            "B.toml:2: budgets.log.zzz is not a key | the keys are coverage_min, "
            "duration_min_us, events_min, lost_events_max, contradictions_max, repairs_max, "
            "unused_lines_max, boots_max, severity, reason, waiver",
        ),
        (
            HEAD + "misses = { at_mots = 1, of = 10 }",
            "B.toml:2: budgets.tasks.needle_select.misses.at_mots is not a key: "
            "did you mean at_most?",
        ),
        # a bad unit
        (
            HEAD + "response_max_ms = 1.8",
            "B.toml:2: budgets.tasks.needle_select.response_max_ms: found a limit in ms, "
            "expected a time in µs: did you mean response_max_us = 1800?",
        ),
        (
            HEAD + 'response_max_us = "1.8 ms"',
            'B.toml:2: budgets.tasks.needle_select.response_max_us: found "1.8 ms", '
            "expected a time in µs: did you mean 1800?",
        ),
        (
            "\n[budgets.cores.0]\nload_max = 70",
            "B.toml:3: budgets.cores.0.load_max: found 70, expected a share from 0 to 1: "
            "did you mean 0.7?",
        ),
        (
            '[budgets.cores.0]\nload_max = "70 %"',
            'B.toml:2: budgets.cores.0.load_max: found "70 %", expected a share from 0 to 1: '
            "did you mean 0.7?",
        ),
        (
            "[budgets.cores.0]\nload_max_percent = 70",
            "B.toml:2: budgets.cores.0.load_max_percent: found a limit in percent, "
            "expected a share from 0 to 1: did you mean load_max = 0.7?",
        ),
        # a wrong type
        (
            HEAD + "misses = true",
            "B.toml:2: budgets.tasks.needle_select.misses: found true, expected a whole number",
        ),
        (
            HEAD + "misses = 0.5",
            "B.toml:2: budgets.tasks.needle_select.misses: found 0.5, expected a whole number",
        ),
        (
            HEAD + "response_max_us = inf",
            "B.toml:2: budgets.tasks.needle_select.response_max_us: found inf, "
            "expected a time in µs",
        ),
        (
            "[budgets]\ntasks = 3",
            "B.toml:2: budgets.tasks: found 3, expected a table",
        ),
        (
            "[budgets.tasks]\nneedle_select = 1800",
            "B.toml:2: budgets.tasks.needle_select: found 1800, expected a table",
        ),
        (
            HEAD + 'misses = 0\nseverity = "eror"',
            'B.toml:3: budgets.tasks.needle_select.severity: found "eror", '
            "expected one of error, warning, note: did you mean error?",
        ),
        (
            HEAD + "misses = 0\nreason = 3",
            "B.toml:3: budgets.tasks.needle_select.reason: found 3, expected a text",
        ),
        (
            HEAD + 'misses = 0\nwaiver = { until = "2027-01-31", reason = "x" }',
            "B.toml:3: budgets.tasks.needle_select.waiver.until: "
            'found "2027-01-31", expected a date such as 2027-01-31, without quotes',
        ),
        (
            HEAD + "misses = 0\nwaiver = { until = 2027-01-31 }",
            "B.toml:3: budgets.tasks.needle_select.waiver: found no reason, "
            'expected until and reason | waiver = { until = 2027-01-31, reason = "..." }',
        ),
        # a limit that makes no sense
        (
            HEAD + "response_max_us = -1",
            "B.toml:2: budgets.tasks.needle_select.response_max_us: found -1, "
            "expected a time in µs, not below 0",
        ),
        (
            HEAD + "response_max_us = 0.0001",
            "B.toml:2: budgets.tasks.needle_select.response_max_us: found 0.0001, "
            "expected a time in µs, to the nanosecond at the finest",
        ),
        (
            HEAD + "jobs_min = 0",
            "B.toml:2: budgets.tasks.needle_select.jobs_min: always met: "
            "found at least 0, expected more than 0",
        ),
        (
            HEAD + "misses = { at_most = 10, of = 10 }",
            "B.toml:2: budgets.tasks.needle_select.misses.of: always met: "
            "found at_most = 10 of 10, expected less",
        ),
        (
            HEAD + "jobs_min = { at_most = 5 }",
            "B.toml:2: budgets.tasks.needle_select.jobs_min.at_most: found at_most, "
            "expected at_least",
        ),
        (
            HEAD + 'misses = { severity = "note" }',
            "B.toml:2: budgets.tasks.needle_select.misses: found no limit, expected at_most",
        ),
        (
            HEAD + "response_max_us = 500\nresponse_min_us = 900",
            "B.toml:3: budgets.tasks.needle_select.response_min_us: nothing can meet both limits: "
            "found at least 900, expected no more than response_max_us = 500",
        ),
        (
            HEAD + 'reason = "none"',
            "B.toml:1: budgets.tasks.needle_select: sets no limit: "
            "found none of response_min_us, response_mean_us, response_p50_us, …",
        ),
        (
            "[budgets.phases.knit.log]\nlost_events_max = 0",
            "B.toml:1: budgets.phases.knit.log: the log is judged as a whole: found it in a phase",
        ),
        (
            "[budgets]\ntolerated_loss = 2",
            "B.toml:2: budgets.tolerated_loss: found 2, expected a share from 0 to 1: "
            "did you mean 0.02?",
        ),
        (
            '[budgets.tasks."needle_*"]\nload = 0.5',
            'B.toml:2: budgets.tasks."needle_*".load is not a key: did you mean load_max?',
        ),
    ],
)
def test_each_mistake_is_one_line_with_its_place(text, said):
    assert mistake(text) == said


def test_text_that_is_no_toml_is_told_with_its_line():
    assert mistake(f"{HEAD}misses = \n") == (
        "B.toml:2: not TOML: Invalid value | "
        'a value is a number, true, false, or text in quotes: name = "text"'
    )


def test_what_is_written_is_read_again():
    made = Budgets(
        limits=(
            Budget("tasks", "needle_*", MEASURES["tasks"]["response_max_us"], 1_800_001),
            Budget("tasks", "a b", MEASURES["tasks"]["misses"], 1, of=10, severity="warning"),
            Budget("log", "", MEASURES["log"]["lost_events_max"], 0),
            Budget("cores", "0", MEASURES["cores"]["load_max"], 0.7, phase="knit"),
        ),
        tolerated_loss=0.001,
    )
    text = write(made, {("tasks", "c"): ["load_max: nothing was seen"]})
    assert "# [budgets.tasks.c]\n# load_max: nothing was seen\n" in text
    again = budgets(text)
    key = [(b.table, b.measure, b.limit, b.of, b.severity, b.phase) for b in made.limits]
    found = [(b.table, b.measure, b.limit, b.of, b.severity, b.phase) for b in again.limits]
    assert sorted(found, key=str) == sorted(key, key=str)
    assert again.tolerated_loss == made.tolerated_loss


@given(st.integers(0, 10**15))
def test_any_number_of_nanoseconds_is_written_exactly(ns):
    text = number_text(MEASURES["tasks"]["response_max_us"], ns)
    assert only(f"{HEAD}response_max_us = {text}").limit == ns


def inline(value: object) -> str:
    """Any value as TOML on one line."""
    if isinstance(value, dict):
        pairs = (f"{json.dumps(key)} = {inline(inner)}" for key, inner in value.items())
        return f"{{ {', '.join(pairs)} }}"
    if isinstance(value, list):
        return f"[{', '.join(map(inline, value))}]"
    if isinstance(value, date):
        return value.isoformat()
    return json.dumps(value)


KEYS = [*MEASURES["tasks"], *MEASURES["phases"], "tasks", "cores", "log", "phases", "findings"]
KEYS += ["severity", "reason", "waiver", "until", "at_most", "at_least", "of", "x", "a.b", "ε"]
SCALARS = (
    st.integers(-3, 10**20)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.booleans()
    | st.sampled_from(["error", "1.8 ms", "70 %", "", "x\u0007"])
    | st.dates()
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: (
        st.lists(inner, max_size=2) | st.dictionaries(st.sampled_from(KEYS), inner, max_size=3)
    ),
    max_leaves=8,
)


@given(VALUES)
def test_whatever_stands_there_is_read_or_is_one_line(value):
    try:
        parse_toml(f"budgets = {inline(value)}\n", "B.toml")
    except SystemFileError as error:
        assert "\n" not in str(error)
        assert str(error).startswith(("B.toml:1: budgets", "B.toml: budgets"))


LINES = st.sampled_from(
    (
        *("", "# remark [not.a.table]", "{} = 1", '{} = "[no.table]"'),
        *("{} = [\n  1,\n\n  2,\n]", '{} = """\n[no.table]\nx = 1\n"""'),
        *("{} = '''\n'''", "{}.inner = {{ deep = 1 }}"),
    )
)


@given(st.lists(LINES, max_size=12))
def test_lines_are_those_where_the_keys_stand(pieces):
    text, expected, line = "[top]\n", {}, 2
    for number, piece in enumerate(pieces):
        key = f"k{number}"
        statement = piece.format(key)
        if "{}" in piece:
            expected[key] = line
        text += f"{statement}\n"
        line += statement.count("\n") + 1
    found = lines_of(text)
    assert {key: found["top", key] for key in expected} == expected
