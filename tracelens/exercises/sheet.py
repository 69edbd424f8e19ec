"""The three papers of an exercise: question sheet, answer form, solution."""

from typing import Final

from tracelens.exercises.records import Answer, Exercise

_HINTS: Final = {
    "number": ("a whole number", '""'),
    "numbers": ("whole numbers in order, such as [1, 2, 3]", "[]"),
    "word": ('a name, such as "a"', '""'),
    "words": ('names in any order, such as ["a", "b"]; [] for none', '""'),
    "units": ('one letter a unit, such as "aab-"', '""'),
    "yes_no": ('"yes" or "no"', '""'),
}


def sheet(exercise: Exercise) -> str:
    """The question sheet, in Markdown."""
    lines = [f"# {exercise.title}", "", f"Exercise `{exercise.kind}`, number {exercise.seed}.", ""]
    for part in exercise.given:
        lines += [part, ""]
    lines += ["## Questions", ""]
    lines += [f"{n}. {q.ask} (`{q.key}`)" for n, q in enumerate(exercise.questions, 1)]
    lines += [
        "",
        "Write the answers into `answers.toml`; `tracelens exercise check answers.toml` says what "
        "is wrong with them. `set.toml` is the same system for `tracelens simulate`.",
    ]
    return "\n".join(lines) + "\n"


def form(exercise: Exercise) -> str:
    """The answer form, in TOML, with an empty answer to each question."""
    lines = [
        f"# {exercise.title}: write each answer after the equals sign.",
        f'kind = "{exercise.kind}"',
        f"seed = {exercise.seed}",
        "",
        "[answers]",
    ]
    for question in exercise.questions:
        hint, empty = _HINTS[question.form]
        lines += [f"# {hint}", f"{question.key} = {empty}"]
    return "\n".join(lines) + "\n"


def solution(exercise: Exercise) -> str:
    """The solution, in Markdown: each answer and how it comes about."""
    lines = [f"# {exercise.title}: solution", "", f"Exercise `{exercise.kind}`, number "]
    lines[-1] += f"{exercise.seed}."
    for number, question in enumerate(exercise.questions, 1):
        told = shown(question.answer)
        lines += ["", f"{number}. {question.ask}", "", f"   **{told}**. {question.worked}"]
    return "\n".join(lines) + "\n"


def shown(answer: Answer) -> str:
    """An answer in words: a list with commas, a truth value as yes or no."""
    if isinstance(answer, bool):
        return "yes" if answer else "no"
    if isinstance(answer, tuple):
        return ", ".join(map(str, answer)) or "none"
    return str(answer)
