"""Verdicts as JUnit-style XML, for whatever shows test results.

A limit is a test case: broken is a failure, unknown an error, and what decides nothing (waived, or
of a lower severity) is skipped, with its sentence. There is no official standard; the elements
are those that the schema junit-10.xsd knows (Gregory Boissinot, 2014).
"""

import io
from pathlib import PurePath
from typing import TYPE_CHECKING

from tracelens.model.budgets import table_path
from tracelens.model.verdicts import Verdict, Verdicts
from tracelens.plain import plain
from tracelens.report.document import title
from tracelens.report.verdict_words import sentence

if TYPE_CHECKING:
    from junitparser import TestCase


def render(judged: Verdicts) -> bytes:
    """The XML, UTF-8, one test suite. No times: the same run gives the same file."""
    from junitparser import JUnitXml, TestSuite

    against = f"{title(judged.analysis)} against {PurePath(judged.budgets.place).name}"
    suite = TestSuite(plain(against))
    for verdict in judged.verdicts:
        suite.add_testcase(_case(verdict, judged))
    xml = JUnitXml("tracelens check")
    xml.add_testsuite(suite)
    file = io.BytesIO()
    xml.write(file)
    return file.getvalue()


def _case(verdict: Verdict, judged: Verdicts) -> "TestCase":
    from junitparser import Error, Failure, Skipped, TestCase

    budget = verdict.budget
    path = table_path(budget.group, verdict.name if budget.name else "", budget.phase)
    case = TestCase(plain(budget.measure.key), plain(".".join(path)))
    text = plain(sentence(verdict, judged.today))
    if verdict.outcome == "pass":
        return case
    if not verdict.counts:
        case.result = [Skipped(text)]
    elif verdict.outcome == "fail":
        case.result = [Failure(text, "limit")]
    else:
        case.result = [Error(text, "unknown")]
    return case
