"""Schedulability analysis: what can happen, from what a task set declares.

`analyse_set` takes a task set, `analyse` the work that the theory sees of one. The modules are
named for their questions; each names its source. Integer nanoseconds throughout, exact fractions
where a bound needs them.
"""

from tracelens.theory.analyse import analyse, analyse_set
from tracelens.theory.records import Schedulability

__all__ = ["Schedulability", "analyse", "analyse_set"]
