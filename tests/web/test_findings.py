"""The list of findings: which one is marked, and where it takes the reader."""

import pytest

from tests.drawing import scene
from tracelens.model.results import Finding
from tracelens.web.parts.findings import is_shown, marked_in, panel_of

FIRST_JOB = scene.job_of("needle_select", 1)


@pytest.mark.parametrize(
    ("search", "marked"),
    [("", 0), ("?run=1", 0), ("?from=1&to=2", None), ("?job=3", None), ("?finding=1&from=1", 1),
     ("?finding=99", None), ("?finding=x&from=1", None)],
)  # fmt: skip
def test_the_address_says_which_is_marked(search: str, marked: int | None) -> None:
    assert marked_in(scene.run(), search) == marked


def test_the_mark_goes_when_the_reader_goes_on_to_another_job() -> None:
    assert is_shown(scene.run(), 0, FIRST_JOB)
    assert not is_shown(scene.run(), 0, FIRST_JOB + 1)
    assert not is_shown(scene.run(), 0, None)


@pytest.mark.parametrize(
    ("kind", "panel"),
    [
        ("deadline_miss", "responses"),
        ("unbounded_inversion", "inversions"),
        ("long_section", "locks"),
        ("deadlock", "locks"),
        ("interrupt_load", "load"),
        ("few_jobs", None),
    ],
)
def test_a_finding_leads_to_the_panel_with_its_evidence(kind: str, panel: str | None) -> None:
    finding = Finding("note", "needle_select", "said", None, kind, {})
    assert panel_of(finding)[0] == panel
