"""Mark a filled answer form: right, wrong and why, or not answered."""

from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any, Literal

from tracelens.errors import SystemFileError
from tracelens.exercises.kinds import make
from tracelens.exercises.records import Answer, Exercise, Question
from tracelens.formats.toml_text import tables_of, text_of


@dataclass(frozen=True, slots=True)
class Mark:
    """One question's mark; `why` says what is wrong, '' where it is right."""

    question: Question
    verdict: Literal["right", "wrong", "not answered"]
    given: str
    why: str


def read_form(path: str | Path) -> tuple[Exercise, dict[str, Any]]:
    """The exercise that a form belongs to, and its answers as written.

    Raises `SystemFileError` for a file that is no such form, `UsageError` for an unknown kind.
    """
    place = str(path)
    raw = tables_of(text_of(path), place)
    kind, seed, answers = raw.get("kind"), raw.get("seed"), raw.get("answers")
    if not isinstance(kind, str) or not isinstance(seed, int) or not isinstance(answers, Mapping):
        raise SystemFileError(
            "not an answer form: expected kind, seed and a table [answers]",
            place=place,
            hint="tracelens exercise make writes one",
        )
    exercise = make(kind, seed)
    known = [question.key for question in exercise.questions]
    for key in answers:
        if key not in known:
            near = get_close_matches(key, known, 1)
            raise SystemFileError(
                f"answers.{key}: no such question",
                place=place,
                hint=f"did you mean {near[0]}?" if near else f"there are {', '.join(known)}",
            )
    return exercise, dict(answers)


def mark(exercise: Exercise, answers: Mapping[str, Any]) -> list[Mark]:
    """A mark for each question, in order."""
    return [_mark(question, answers.get(question.key, "")) for question in exercise.questions]


def _mark(question: Question, given: Any) -> Mark:
    shown = str(given)
    if given == "" or (given == [] and question.form == "numbers"):
        return Mark(question, "not answered", "", "")
    answer = _read(question, given)
    if answer is None:
        wanted = {
            "number": "a whole number",
            "numbers": "a list of whole numbers",
            "word": "a name",
            "words": "a list of names",
            "units": "one letter a unit",
            "yes_no": "yes or no",
        }[question.form]
        return Mark(question, "wrong", shown, f"expected {wanted}")
    expected = question.answer
    if question.form == "words" and isinstance(answer, tuple) and isinstance(expected, tuple):
        right = set(answer) == set(expected)
    else:
        right = answer == expected
    if right:
        return Mark(question, "right", shown, "")
    return Mark(question, "wrong", shown, question.wrong(answer))


def _read(question: Question, given: Any) -> Answer | None:
    """An answer of the question's form; None if it has another."""
    match question.form:
        case "number":
            return _whole(given)
        case "numbers":
            if isinstance(given, list):
                numbers = [_whole(one) for one in given]
                return None if None in numbers else tuple(n for n in numbers if n is not None)
        case "words":
            words = [given] if isinstance(given, str) else given
            if isinstance(words, list) and all(isinstance(word, str) for word in words):
                return tuple(word.strip() for word in words)
        case "units":
            return "".join(given.split()) if isinstance(given, str) else None
        case "yes_no":
            if isinstance(given, bool):
                return given
            return {"yes": True, "no": False}.get(str(given).strip().lower())
        case "word":
            return given.strip() if isinstance(given, str) else None
    return None


def _whole(given: Any) -> int | None:
    if isinstance(given, bool):
        return None
    if isinstance(given, float):
        return int(given) if given.is_integer() else None
    if isinstance(given, str):
        text = given.strip()
        return int(text) if text.isascii() and text.lstrip("-").isdigit() else None
    return given if isinstance(given, int) else None
