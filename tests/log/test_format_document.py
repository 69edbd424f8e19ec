"""The document of the format says what the code knows, no more and no less."""

import re
from pathlib import Path

import pytest

from tests.log.texts import rows
from tracelens.log import checks, read_bytes, unused
from tracelens.log.keys import MOST_HZ, SETTINGS, THINGS
from tracelens.log.unused import Reason
from tracelens.model.events import EVENT_WORDS, HEADER
from tracelens.model.system import Clock

PAGE = (Path(__file__).parents[2] / "sample_traces" / "FORMAT.md").read_text(encoding="utf-8")
EXAMPLE = re.findall(r"```csv\n(.*?)```", PAGE, re.DOTALL)[0]


def section(title: str) -> str:
    """The text below a heading, up to the next of the same or a higher rank."""
    rank = title.split(" ")[0]
    after = PAGE.split(f"\n{title}\n")[1]
    return re.split(rf"\n#{{1,{len(rank)}}} ", after)[0]


def table(text: str) -> list[list[str]]:
    """The cells of the first table of a text, its head left out."""
    found = re.search(r"\|[^\n]*\|\n\|[-|]+\|\n((?:\|[^\n]*\|\n)+)", f"{text}\n")
    assert found
    lines = found[1].splitlines()
    return [[cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]] for line in lines]


def codes(cell: str) -> list[str]:
    return re.findall(r"`([^`]+)`", cell)


EVENTS = {codes(row[0])[0]: row[1:] for row in table(section("## Events"))}


def test_every_event_word_is_in_the_document_in_its_order() -> None:
    assert tuple(EVENTS) == EVENT_WORDS


def test_the_document_says_which_events_need_a_subject() -> None:
    optional = {
        word for word, (subject, *_) in EVENTS.items() if not subject or "nothing" in subject
    }
    assert optional == set(checks.NO_SUBJECT_NEEDED)


def test_the_document_says_which_events_need_a_value_and_of_what_kind() -> None:
    needed = {
        word
        for word, (_, value, _) in EVENTS.items()
        if value and "nothing" not in value and "if" not in value.split()
    }
    refused = {word for word in EVENT_WORDS if value_needed(word)}
    assert needed == refused


def value_needed(word: str) -> bool:
    """Whether the reader refuses the event without a value."""
    text = f"#tracelens 1\n#clock hz=1\n#priority order=higher_first\n{HEADER}\n1,0,{word},a,\n"
    return read_bytes(text.encode(), "log").events.is_empty()


@pytest.mark.parametrize("word", [*THINGS, "clock", "priority", "policy"])
def test_every_key_of_a_declaration_is_in_the_document(word: str) -> None:
    keys = THINGS[word][1] if word in THINGS else SETTINGS[word]
    documented = [key for row in table(section(f"### `#{word}`")) for key in codes(row[0])]
    assert documented == list(keys)


def test_every_declaration_is_in_the_document() -> None:
    headings = re.findall(r"^### (.*)$", section("## Declarations"), re.MULTILINE)
    documented = {code.removeprefix("#") for heading in headings for code in codes(heading)}
    assert documented == {*THINGS, *SETTINGS, "run"}
    notes = table(section("### `#run` and `#note`"))
    assert [codes(row[0])[0] for row in notes] == list(SETTINGS["note"])


def test_the_defaults_and_limits_of_the_clock_are_those_of_the_code() -> None:
    said = {codes(row[0])[0]: row[1] for row in table(section("### `#clock`"))}
    assert f"up to {MOST_HZ}" in said["hz"]
    assert f"if not given, {Clock(hz=1).bits}" in said["bits"]
    assert f"if not given, {Clock(hz=1).late_ns // 1000}" in said["late_us"]


def test_every_reason_for_not_using_a_line_is_in_the_document() -> None:
    reasons = {value.text for value in vars(unused).values() if isinstance(value, Reason)}
    documented = [code for row in table(section("## Damage")) for code in codes(row[0])]
    assert sorted(documented) == sorted(reasons)


def test_the_first_log_is_read_as_the_document_says() -> None:
    log = read_bytes(EXAMPLE.encode(), "log", strict=True)
    assert len(log.events) == 10
    assert log.warnings == ()
    told = table(section("## A first log"))
    lines = EXAMPLE.splitlines()
    assert [codes(row[0])[0] for row in told] == lines[-10:]
    for (ns, *_), (_, text) in zip(rows(log, "time_ns"), told, strict=True):
        assert text.startswith(f"{ns // 1000} µs:")
