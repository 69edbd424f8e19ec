"""Text by a mapping: a real recording against its log, small texts by hand, mistakes."""

import gzip
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracelens.cli.main import main
from tracelens.convert.mapping_toml import parse_mapping, read_mapping
from tracelens.convert.text import convert
from tracelens.errors import InputError, SystemFileError

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_traces"
RECORDING = ROOT / "tests" / "recordings"
RULE = "[[line]]\npattern = '^(?P<time>[0-9.]+) (?P<who>\\w+) (?P<what>.*)$'\n"


def made(text: str, mapping: str) -> list[str]:
    log = convert(text.encode(), parse_mapping(mapping), "in.log").text.decode()
    return log.splitlines()


def test_a_real_recording_gives_its_log_byte_for_byte() -> None:
    """As the hooks of a real kernel wrote it, and the event log that was made of it by hand."""
    raw = gzip.decompress((RECORDING / "kernel_healthy.raw.csv.gz").read_bytes())
    log = gzip.decompress((RECORDING / "kernel_healthy.csv.gz").read_bytes())
    converted = convert(raw, read_mapping(SAMPLES / "mapping" / "text.toml"), "raw")
    assert converted.text == log
    assert (converted.events, converted.skipped, converted.unmatched) == (53177, 1, 0)
    assert int(converted.taken["lines"].sum()) == raw.count(b"\n") - 1


def test_each_line_becomes_its_events_in_their_order() -> None:
    mapping = RULE + 'events = ["request {who} {what}", "wait {who} {what}"]\n'
    assert made("5 a bus\n\n7 b bus\r\n", mapping) == [
        "#tracelens 1", "time,core,event,subject,value",
        "5,0,request,a,bus", "5,0,wait,a,bus", "7,0,request,b,bus", "7,0,wait,b,bus",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("unit", "text", "ticks"),
    [
        ("s", "0.001200", 1_200_000),
        ("s", "3", 3_000_000_000),
        ("ms", "1.5", 1_500_000),
        ("us", "12.0345", 12_034),
        ("ns", "77", 77),
        ("ns", "77.9", 77),
    ],
)
def test_times_in_units_become_nanoseconds(unit: str, text: str, ticks: int) -> None:
    mapping = f'[source]\ntime = "{unit}"\n{RULE}events = ["start {{who}}"]\n'
    assert made(f"{text} a x", mapping)[1:] == [
        "#clock hz=1000000000 bits=64", "time,core,event,subject,value", f"{ticks},0,start,a,",
    ]  # fmt: skip


def test_declarations_of_lines_come_once_and_first() -> None:
    mapping = RULE + "declare = 'task id={who} priority={what}'\n"
    mapping += "[[line]]\npattern = '^(?P<time>\\d+)!'\nevents = ['mark x']\n"
    assert made("1!\n2 a 5\n3 a 5\n4 b 6", mapping) == [
        "#tracelens 1", "#task id=a priority=5", "#task id=b priority=6",
        "time,core,event,subject,value", "1,0,mark,x,",
    ]  # fmt: skip


@given(st.lists(st.sampled_from("abcd"), min_size=1, max_size=60))
def test_the_first_of_each_is_the_first_wherever_the_pieces_are_cut(names: list[str]) -> None:
    import tracelens.convert.text as module

    mapping = "[[line]]\npattern = '^\\d+ (?P<who>\\w)'\nfirst_per = 'who'\n"
    mapping += "[[line]]\npattern = '^(?P<time>\\d+) (?P<who>\\w)'\nevents = ['start {who}']\n"
    text = "\n".join(f"{i} {name}" for i, name in enumerate([*names, *names]))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "_PIECE", 7)
        lines = made(text, mapping)[2:]
    whole = list(enumerate([*names, *names]))
    first = {name: whole[::-1][len(whole) - 1 - names.index(name)][0] for name in set(names)}
    assert lines == [f"{i},0,start,{n}," for i, n in whole if first[n] != i]


def test_what_no_rule_takes_is_counted_with_its_place() -> None:
    converted = convert(
        b"1 a x\nnoise\n2 a x\n\xff\xfe\n", parse_mapping(RULE + "events = ['start {who}']"), "in"
    )
    assert (converted.events, converted.unmatched) == (2, 2)
    assert converted.first_unmatched[0] == (2, "noise")


@pytest.mark.parametrize(
    ("mapping", "said"),
    [
        ("[[lines]]\n", "m.toml: lines is not a key"),
        ("[source]\nskip = '('\n", "m.toml: source.skip: not a pattern: unclosed group"),
        ("[source]\nskip = '(a{1,1000}){1,1000}'\n",
         "m.toml: source.skip: not a pattern: Compiled regex exceeds size limit of "),
        ("[[line]]\npattern = ''\n" * 1001,
         "m.toml: line: found 1001 rules, expected at most 1000"),
        ("[log]\ndeclare = [\"task id=a\\n1,0,start,a,\"]\n",
         r"m.toml: log.declare: found 'task id=a\n1,0,start,a,', expected one declaration"),
        ("[[line]]\nevents = []\n", "m.toml: line 1: "),
        ("[[line]]\npattern = 'x'\nevents = ['start a']\n",
         "m.toml: line 1: found a pattern without a time, expected a group (?P<time>…)"),
        (RULE + "events = ['begin {who}']\n",
         "m.toml: line 1: found the event 'begin', expected a word of the event log"),
        (RULE + "events = ['start {whom}']\n",
         "m.toml: line 1: found {whom}, expected a group of the pattern (time, what, who)"),
        (RULE + "events = ['start a b c']\n",
         "m.toml: line 1: found the event 'start a b c', expected a word, a subject and perhaps a "
         "value"),
        (RULE + "first_per = 'x'\n",
         "m.toml: line 1.first_per: found x, expected a group of the pattern (time, what, who)"),
        ("[source]\ntime = 'hours'\n", "m.toml: source.time: found 'hours', expected one of ticks"),
        ("[[line]]\npattern = 'x'\nevent = 'start'\n", "m.toml: line 1.event is not a key"),
        ("x = = 1", "m.toml:1: not TOML"),
        ("[[signal]]\nname='a'\nrise=['start a']\nvalues={}\n[[signal]]\nname='b'\n"
         "rise=['start a']\nvalues={'1'=['start b']}\n",
         "m.toml: signal 2: found values beside rise or fall, expected one of the two"),
    ],
)  # fmt: skip
def test_a_mistake_in_a_mapping_is_one_line(mapping: str, said: str) -> None:
    with pytest.raises(SystemFileError) as error:
        parse_mapping(mapping, "m.toml")
    assert str(error.value).startswith(said)
    assert "\n" not in str(error.value)


def test_a_word_of_the_log_is_suggested() -> None:
    with pytest.raises(SystemFileError) as error:
        parse_mapping(RULE + "events = ['realease {who}']\n")
    assert error.value.hint == "did you mean release?"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "in.log: no line is an event: found 0 lines"),
        ("nothing\n", "in.log: no line is an event: found 1 lines, 1 of them matched by no rule"),
        ("1 a x\n1.5 a x\n", "in.log:2: no time: found '1.5', expected whole ticks"),
    ],
)
def test_a_text_that_is_no_log(text: str, said: str) -> None:
    with pytest.raises(InputError) as error:
        made(text, RULE + "events = ['start {who}']\n")
    assert str(error.value).startswith(said)


def blocks(language: str) -> list[str]:
    page = (SAMPLES / "MAPPING.md").read_text(encoding="utf-8")
    return re.findall(rf"^```{language}\b.*?\n(.*?)^```$", page, re.MULTILINE | re.DOTALL)


def test_the_page_that_teaches_it_is_right() -> None:
    (text,), (mapping, signals) = blocks("text"), blocks("toml")
    assert made(text, mapping)[-3:] == [
        "1200000,0,release,needle_select,", "1203000,0,start,needle_select,",
        "1460000,0,wait,needle_select,delay",
    ]  # fmt: skip
    assert len(parse_mapping(signals).signals) == 2


def test_a_trial_shows_what_matched_and_writes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("in.log").write_text("1 a x\nnoise\n")
    Path("m.toml").write_text(RULE + "events = ['start {who}']\n[[line]]\npattern = 'never'\n")
    assert main(["convert", "in.log", "--map", "m.toml", "--try"]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith("rule   1          1 lines, from line 1")
    assert said[1].startswith("rule   2          0 lines")
    assert said[2:6] == [
        "skipped           0 lines", "unmatched         1 lines", "  line 2: noise",
        "the log begins:",
    ]  # fmt: skip
    assert sorted(path.name for path in tmp_path.iterdir()) == ["in.log", "m.toml"]
