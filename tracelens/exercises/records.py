"""What an exercise is made of."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

Answer = int | str | bool | tuple[int, ...] | tuple[str, ...]
Form = Literal["number", "numbers", "word", "words", "units", "yes_no"]
"""How an answer is written: a whole number; a list of them; a name; a list of names, in any order;
one letter a time unit; yes or no."""


@dataclass(frozen=True, slots=True)
class Question:
    """One question. `wrong` says what is wrong with an answer of the right form.

    `worked` is how the answer comes about, for the solution.
    """

    key: str
    ask: str
    form: Form
    answer: Answer
    worked: str
    wrong: Callable[[Answer], str]


@dataclass(frozen=True, slots=True)
class Exercise:
    """An exercise: what is given, in Markdown and as a task set, and what is asked."""

    kind: str
    seed: int
    title: str
    given: tuple[str, ...]
    questions: tuple[Question, ...]
    taskset: str


def plainly(worked: str) -> Callable[[Answer], str]:
    """For a question whose mistakes have no shape of their own: how the answer comes about."""
    return lambda _answer: worked
