"""Exercises: sensible for any seed, right by another road, and marked with the reason."""

from functools import cache
from math import lcm

import polars as pl
import pytest

from tracelens.cli import exercise as command
from tracelens.cli.main import main
from tracelens.engine import simulate
from tracelens.errors import UsageError
from tracelens.exercises import KINDS, form, make, mark, read_form, sheet, solution
from tracelens.exercises.records import Exercise
from tracelens.exercises.sheet import shown
from tracelens.formats.taskset_toml import parse_taskset

EACH = [(kind, seed) for kind in KINDS for seed in range(3)]

made = cache(make)


def filled(exercise: Exercise, **changed: object) -> dict[str, object]:
    """The right answers as a form holds them, some changed."""
    answers: dict[str, object] = {}
    for question in exercise.questions:
        answer = question.answer
        answers[question.key] = list(answer) if isinstance(answer, tuple) else answer
    return answers | changed


def why(exercise: Exercise, key: str, answer: object) -> str:
    (one,) = [m for m in mark(exercise, filled(exercise, **{key: answer})) if m.verdict != "right"]
    assert (one.question.key, one.verdict) == (key, "wrong")
    return one.why


@pytest.mark.parametrize(("kind", "seed"), EACH)
def test_the_right_answers_are_right_and_an_empty_form_is_not_answered(kind, seed, tmp_path):
    exercise = made(kind, seed)
    assert {m.verdict for m in mark(exercise, filled(exercise))} == {"right"}
    file = tmp_path / "answers.toml"
    file.write_text(form(exercise), encoding="utf-8")
    again, answers = read_form(file)
    assert [q.key for q in again.questions] == [q.key for q in exercise.questions]
    assert {m.verdict for m in mark(again, answers)} == {"not answered"}


@pytest.mark.parametrize(("kind", "seed"), EACH)
def test_every_wrong_answer_is_told_why(kind, seed):
    exercise = made(kind, seed)
    for question in exercise.questions:
        for wrong in _wrong(question.answer):
            (one,) = mark(Exercise("", 0, "", (), (question,), ""), {question.key: wrong})
            assert one.verdict == "wrong"
            assert one.why


def _wrong(answer: object) -> list[object]:
    if isinstance(answer, bool):
        return [not answer]
    if isinstance(answer, int):
        return [answer + 1, max(0, answer - 1) or 99, "some"]
    if isinstance(answer, str):
        return ["x" + answer[1:], answer + "b", 3]
    listed = list(answer) if isinstance(answer, tuple) else []
    if listed and isinstance(listed[0], int):
        return [[one + 1 for one in listed], [*listed[:-1], 0], [*listed, 7], "some"]
    return [[*listed, "x"], {"a": 1}]


@pytest.mark.parametrize("kind", KINDS)
def test_another_seed_is_another_exercise_and_the_same_one_is_the_same(kind):
    sheets = [sheet(made(kind, seed)) for seed in range(5)]
    assert len(set(sheets)) == len(sheets)
    assert sheets[3] == sheet(make(kind, 3))


@pytest.mark.parametrize(("kind", "seed"), EACH)
def test_the_task_set_is_the_one_of_the_sheet_and_can_be_run(kind, seed):
    exercise = made(kind, seed)
    taskset = parse_taskset(exercise.taskset)
    assert simulate(taskset).truth.jobs.height
    periods = [task.period_ns for task in taskset.system.tasks if task.period_ns]
    if kind == "schedule":
        assert lcm(*periods) <= 24_000_000


@pytest.mark.parametrize("seed", range(6))
def test_responses_are_those_of_the_schedule(seed):
    """All released together, the first job of each task shows its worst response."""
    exercise = made("response", seed)
    taskset = parse_taskset(exercise.taskset)
    done = simulate(taskset, until_ns=600_000_000)
    first = done.truth.jobs.filter(pl.col("job") == 1)
    seen = dict(first.select(pl.col("task").cast(pl.String), "response_ns").rows())
    for question in exercise.questions:
        if question.key.startswith("R_"):
            assert question.answer == seen[question.key[2:]] // 1_000_000


@pytest.mark.parametrize("seed", range(6))
def test_the_verdict_on_demand_is_that_of_the_schedule(seed):
    exercise = made("demand", seed)
    done = simulate(parse_taskset(exercise.taskset), until_ns=240_000_000)
    answers = filled(exercise)
    assert answers["schedulable"] is not done.truth.jobs["late"].any()


def test_usual_mistakes_are_named():
    exercise = made("response", 1)
    last = exercise.questions[3]
    steps = next(q.answer for q in exercise.questions if q.key == "iterations")
    assert isinstance(steps, tuple)
    assert "execution alone" in why(exercise, last.key, steps[0])
    assert "does not stand still" in why(exercise, last.key, steps[1])
    assert "begin with its own execution" in why(exercise, "iterations", [1000])
    assert f"after {steps[0]} comes" in why(exercise, "iterations", [steps[0], 1000])
    inversion = made("inversion", 1)
    answers = filled(inversion)
    assert "third party" in why(inversion, "victim", next(iter(answers["third_parties"])))
    assert "only the part" in why(inversion, "inversion", answers["unbounded"])


def test_a_wrong_unit_of_the_schedule_is_found():
    exercise = made("schedule", 2)
    units = str(exercise.questions[0].answer)
    other = "b" if units[0] != "b" else "a"
    assert "in the unit from 0 to 1" in why(exercise, "schedule", other + units[1:])
    assert f"has {len(units)}" in why(exercise, "schedule", units + "a")


def test_from_the_command_line(tmp_path, capsys):
    folder = tmp_path / "homework"
    assert main(["exercise", "make", str(folder), "--kind", "inversion", "--seed", "5"]) == 0
    papers = {"exercise.md", "answers.toml", "solution.md", "set.toml"}
    assert {file.name for file in folder.iterdir()} == papers
    form_file = folder / "answers.toml"
    assert main(["exercise", "check", str(form_file)]) == 1
    assert "0 of 8 right" in capsys.readouterr().out
    lines = form_file.read_text("utf-8").splitlines()
    for question in made("inversion", 5).questions:
        place = next(n for n, line in enumerate(lines) if line.startswith(f"{question.key} ="))
        value = question.answer
        written = str(list(value)) if isinstance(value, tuple) else repr(value)
        lines[place] = f"{question.key} = {written}"
    form_file.write_text("\n".join(lines), encoding="utf-8")
    assert main(["exercise", "check", str(form_file)]) == 0
    assert "8 of 8 right" in capsys.readouterr().out


def test_a_filled_form_is_not_written_over(tmp_path, capsys):
    again = ["exercise", "make", str(tmp_path), "--kind", "inversion", "--seed", "7"]
    assert main(again) == 0
    assert main(again) == 0  # the same papers once more
    form = tmp_path / "answers.toml"
    filled = form.read_text().replace('victim = ""', 'victim = "high"')
    form.write_text(filled)
    assert main(again) == 2
    assert form.read_text() == filled
    assert "or write over it with --replace" in capsys.readouterr().err
    assert main([*again, "--replace"]) == 0
    assert form.read_text() != filled


def test_the_solution_has_every_answer():
    for kind in KINDS:
        exercise = made(kind, 1)
        text = solution(exercise)
        assert all(f"**{shown(q.answer)}**" in text for q in exercise.questions)
        assert not any(f"**{shown(q.answer)}**" in sheet(exercise) for q in exercise.questions)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("kind =", "not TOML"),
        ("[answers]\n", "not an answer form"),
        ('kind = "demand"\nseed = 1\n[answers]\nbusy_perod = 3\n', "no such question"),
        ('kind = "demands"\nseed = 1\n[answers]\n', "no such kind"),
    ],
)
def test_what_is_no_form_is_refused_in_one_line(text, says, tmp_path, capsys):
    file = tmp_path / "answers.toml"
    file.write_text(text, encoding="utf-8")
    assert main(["exercise", "check", str(file)]) in (2, 3)
    assert says in capsys.readouterr().err.splitlines()[0]


def test_the_help_names_the_kinds_that_there_are():
    assert tuple(KINDS) == command.KINDS
    with pytest.raises(UsageError, match="no such kind"):
        make("schedul", 1)
