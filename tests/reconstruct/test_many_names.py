"""Logs that name more than can be kept are refused with the place, not read until memory ends."""

from time import process_time

import pytest
from polars.testing import assert_frame_equal

from tests.log.texts import log_text
from tracelens.errors import LogError
from tracelens.log import read_bytes
from tracelens.log.declarations import Declarations
from tracelens.log.unused import Unused
from tracelens.reconstruct import reconstruct
from tracelens.reconstruct.arena import BATCH
from tracelens.reconstruct.memory import Sizes, build
from tracelens.reconstruct.names import name_events

DECLARED = ("tracelens.log.declarations.MOST_NAMES", 3)
NAMED = ("tracelens.reconstruct.names.MOST_NAMES", 3)


def _lines(pattern: str, count: int) -> str:
    return "".join(pattern.format(n=n) + "\n" for n in range(count))


@pytest.mark.parametrize(
    "pattern",
    [
        "#task id=t{n} name=a{n}",
        "#task id=t name=a{n}",
        "#isr id=i{n}",
        "#lock id=m{n}",
        "#queue id=q{n}",
        "#note text=n{n}",
        "#run k{n}=1",
        "#task id=t k{n}=1",
        "#unheard k{n}=1",
    ],
)
def test_the_line_that_declares_one_too_many_is_named(
    pattern: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(*DECLARED)
    read_bytes(log_text("1,0,start,t1,", declared=_lines(pattern, 3)), "log")
    with pytest.raises(LogError, match=r"^log:6: too many .*: found 4, expected at most 3$"):
        read_bytes(log_text("1,0,start,t1,", declared=_lines(pattern, 4)), "log")


@pytest.mark.parametrize(
    ("event", "what"),
    [
        ("{n},0,activate,t{n},", "tasks"),
        ("{n},0,enter,i{n},", "interrupt handlers"),
        ("{n},0,request,t,m{n}", "locks"),
        ("{n},0,send,t,q{n}", "queues"),
        ("{n},0,wait,t,w{n}", "words waited for"),
    ],
)
def test_the_event_that_names_one_too_many_is_named(
    event: str, what: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(*NAMED)
    events = _lines(event, 4).splitlines()
    reconstruct(read_bytes(log_text(*events[:3]), "log"))
    with pytest.raises(LogError, match=f"^log:7: too many {what}: found 4 names, expected at most"):
        reconstruct(read_bytes(log_text(*events), "log"))


def test_declared_and_undeclared_names_count_together(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(*NAMED)
    log = read_bytes(log_text("1,0,start,t9,", declared=_lines("#task id=t{n}", 3)), "log")
    with pytest.raises(LogError, match="too many tasks: found 4 names"):
        reconstruct(log)


def test_numbers_are_no_names(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(*NAMED)
    events = _lines("{n},0,stack,t,{n}", 30).splitlines()
    assert reconstruct(read_bytes(log_text(*events), "log")).system.tasks[0].name == "t"


def test_of_many_unknown_keys_the_first_twenty_are_told() -> None:
    declared = Declarations(("log",), Unused())
    for n in range(50):
        declared.add((0, n + 1), f"#task id=t1 key{n}=1")
    told = declared.warnings()
    assert len(told) == 21
    assert told[0].startswith("log:1: the key key0 of #task is not known")
    assert told[-1] == "30 more keys and declarations are not known"


def test_an_id_of_many_names_means_at_each_line_what_was_said_last() -> None:
    lines = [f"#task id=t name=a{n}\n{n},0,activate,t,\n{n},0,activate,u," for n in range(300)]
    log = read_bytes(log_text(*lines), "log")
    named, numbered = name_events(log.events, log.declared)
    names = [named.system.tasks[who].name for who in numbered.whos]
    assert names == [name for n in range(300) for name in (f"a{n}", "u")]


def test_thousands_of_names_of_one_id_take_no_time_each() -> None:
    lines = [f"#task id=t name=a{n}\n{n},0,activate,t," for n in range(5000)]
    log = read_bytes(log_text(*lines), "log")
    begin = process_time()
    name_events(log.events, log.declared)
    assert process_time() - begin < 1  # 0.05 s; once a pass over the events each: 3 s


def test_many_tasks_that_a_gap_ends_need_no_room_for_sixteen_gaps() -> None:
    few, many = (Sizes(n, 1, 0, 0, 2 * n, 2 * n, 64, 64) for n in (10, 30_000))
    assert few.at_once() == BATCH
    assert many.at_once() == 1
    assert build(many).nbytes < 1 << 29


def test_events_are_taken_one_by_one_where_each_may_write_much(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    events = [f"{n},0,{word},t{n % 7}," for n in range(200) for word in ("activate", "start")]
    log = read_bytes(log_text(*events, *(f"300,0,lost,-,{n}" for n in range(40))), "log")
    usual = reconstruct(log)
    monkeypatch.setattr("tracelens.reconstruct.memory._ROWS_AT_ONCE", 1)
    assert_frame_equal(reconstruct(log).task_states, usual.task_states)


def test_more_rows_than_may_be_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    switches = [f"{n},0,{w},t{n % 2}," for n in range(1, 99) for w in ("start", "preempt")]
    log = read_bytes(log_text(*(f"0,0,release,t{n}," for n in range(99)), *switches), "log")
    reconstruct(log)
    monkeypatch.setattr("tracelens.reconstruct.driver._LEAST_ROWS", 10)
    monkeypatch.setattr("tracelens.reconstruct.driver._ROWS_AN_EVENT", 1)
    with pytest.raises(LogError, match="too much happens at once"):
        reconstruct(log)


def test_more_work_than_may_be_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    switches = [f"{n},0,{w},t{n % 2}," for n in range(1, 99) for w in ("start", "preempt")]
    log = read_bytes(log_text(*(f"0,0,release,t{n}," for n in range(99)), *switches), "log")
    monkeypatch.setattr("tracelens.reconstruct.driver._LEAST_WORK", 1000)
    monkeypatch.setattr("tracelens.reconstruct.driver._WORK_OF_AN_EVENT", 1)
    with pytest.raises(LogError, match=r"too much happens at once: found .* of the events"):
        reconstruct(log)


def test_a_long_chain_of_holders_is_work_too(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = [
        f"{3 * n},0,{what}"
        for n in range(1, 60)
        for what in (
            f"start,t{n},",
            f"lock,t{n},m{n}",
            f"request,t{n},m{n - 1}",
            f"wait,t{n},m{n - 1}",
        )
    ]
    log = read_bytes(log_text(*lines), "log")
    monkeypatch.setattr("tracelens.reconstruct.driver._WORK_OF_AN_EVENT", 1)
    monkeypatch.setattr("tracelens.reconstruct.driver._LEAST_WORK", 1 << 30)
    reconstruct(log)
    looks = 60 * 59 // 2 * 4
    monkeypatch.setattr("tracelens.reconstruct.driver._LEAST_WORK", 5 * looks)
    with pytest.raises(LogError, match="too much happens at once"):
        reconstruct(log)


def test_an_id_of_two_meanings_is_told_apart_wherever_it_stands(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Tokens are looked up block by block; such an id need not be in each of them."""
    monkeypatch.setattr("tracelens.reconstruct.names._BLOCK", 8)
    begin = [f"{n},0,activate,x," for n in range(20)]
    text = log_text(*begin, "30,0,stack,y,9", "#task id=y name=b", "40,0,stack,y,8",
                    declared="#task id=x name=x\n#task id=y name=a\n")  # fmt: skip
    log = read_bytes(text, "log")
    named, numbered = name_events(log.events, log.declared)
    names = [named.system.tasks[who].name for who in numbered.whos]
    assert names == ["x"] * 20 + ["a", "b"]
