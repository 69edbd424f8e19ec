"""Verdicts as lines `file:line: severity: text`, as compilers write them.

The place is that of the limit in the budgets file, which a review shows; the text names the line
of the log. An error is whatever makes the exit status one: a limit that is unknown is no less of
it than one that is broken.
"""

from collections.abc import Iterator

from tracelens.model.verdicts import Verdicts
from tracelens.plain import plain
from tracelens.report.verdict_words import sentence
from tracelens.report.verdicts import severity, worst_first


def render(judged: Verdicts) -> Iterator[str]:
    """One line for each limit that is not met, each ending in a line feed; the worst first."""
    for verdict in worst_first(judged):
        if verdict.outcome != "pass":
            place = f"{judged.budgets.place}:{verdict.budget.line or 1}"
            how = "error" if verdict.counts else severity(verdict)
            yield f"{plain(f'{place}: {how}: {sentence(verdict, judged.today)}')}\n"
