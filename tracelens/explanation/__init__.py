"""Why one job took so long: what happened to it in order, by whom, and what could be changed."""

from tracelens.explanation.choose import find_job
from tracelens.explanation.explain import explain
from tracelens.explanation.records import Explanation

__all__ = ["Explanation", "explain", "find_job"]
