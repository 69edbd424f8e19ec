"""Exercises for students: a question sheet, a form for the answers, and what is wrong with them.

`make` draws an exercise of a kind from a seed; the same kind and seed are the same exercise.
`mark` holds a filled form against it. Answers come from the analysis and the engine.
"""

from tracelens.exercises.kinds import KINDS, make
from tracelens.exercises.marking import Mark, mark, read_form
from tracelens.exercises.records import Exercise, Question
from tracelens.exercises.sheet import form, sheet, solution

__all__ = [
    "KINDS",
    "Exercise",
    "Mark",
    "Question",
    "form",
    "make",
    "mark",
    "read_form",
    "sheet",
    "solution",
]
