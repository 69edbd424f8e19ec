"""Budgets held against a run: every limit judged pass, fail or unknown, with its evidence.

A log shows part of what happened, so a measure is known as an interval: from the value that it
has if all that is missing was harmless, to the one that it has if all of it was not. A verdict is
'pass' if the whole interval meets the limit, 'fail' if nothing in it does, and else 'unknown'.
"""

from tracelens.verdicts.file import judge_by, read_budgets
from tracelens.verdicts.judge import judge
from tracelens.verdicts.suggest import suggest

__all__ = ["judge", "judge_by", "read_budgets", "suggest"]
