"""What the `#` lines declare."""

from dataclasses import replace

import pytest

from tests.log.texts import BAD_LOGS, COLUMNS, log_text, unused
from tracelens.errors import LogError
from tracelens.log import read, read_bytes
from tracelens.model.system import Clock, Core, Isr, Lock, Queue, System, Task


def declared(text: str, clock: str = "hz=1000000 bits=32") -> System:
    return read_bytes(log_text("1,0,start,t1,", declared=text, clock=clock), "log").declared


def test_every_key_reaches_its_field() -> None:
    system = declared(
        "#priority order=lower_first\n#policy name=edf\n"
        "#core id=1 name=motor\n"
        "#task id=t1 name=needle_select priority=-6 period_us=2000 offset_us=0.5 "
        "deadline_us=1800.125 stack_bytes=1024 activation=delay core=1 idle=no\n"
        "#task id=t2 separation_us=62.5 idle=yes\n"
        "#isr id=i1 name=encoder priority=2\n#lock id=m1 name=bus protocol=ceiling ceiling=5\n"
        "#queue id=q1 name=rows depth=8\n"
        '#run build=4f2c9e board="bench 3"\n#note text="a, b = c"\n',
        clock="hz=9000000000 bits=24 late_us=250",
    )
    assert system.clocks == (Clock(hz=9_000_000_000, bits=24, late_ns=250_000),)
    assert (system.order, system.policy) == ("lower_first", "edf")
    assert system.cores == (Core(1, "motor", line=(0, 5)),)
    first, second = system.tasks
    assert first == Task(
        "t1",
        "needle_select",
        priority=-6,
        period_ns=2_000_000,
        offset_ns=500,
        deadline_ns=1_800_125,
        stack_bytes=1024,
        activation="delay",
        core=1,
        idle=False,
        line=(0, 6),
    )
    assert second == Task("t2", "t2", separation_ns=62_500, idle=True, line=(0, 7))
    assert system.isrs == (Isr("i1", "encoder", priority=2, line=(0, 8)),)
    assert system.locks == (Lock("m1", "bus", protocol="ceiling", ceiling=5, line=(0, 9)),)
    assert system.queues == (Queue("q1", "rows", depth=8, line=(0, 10)),)
    assert system.run == {"build": "4f2c9e", "board": "bench 3"}
    assert system.notes == ("a, b = c",)


def test_what_is_not_declared_has_the_documented_default() -> None:
    system = declared("", clock="hz=1000")
    assert system.clocks == (Clock(hz=1000, bits=64, late_ns=10_000_000),)
    assert (system.order, system.policy, system.tasks) == (None, "fixed", ())


def test_a_declaration_repeated_adds_to_what_is_known() -> None:
    system = declared("#task id=t1 name=a period_us=5\n#task id=t1 deadline_us=4 period_us=6\n")
    assert system.tasks == (Task("t1", "a", period_ns=6000, deadline_ns=4000, line=(0, 3)),)


def test_an_id_declared_under_another_name_is_another_thing_from_that_line_on() -> None:
    system = read(BAD_LOGS / "declarations.csv").declared
    assert [(task.id, task.name, task.line) for task in system.tasks] == [
        ("t1", "needle select", (0, 8)),
        ("t2", "t2", (0, 10)),
        ("t3", "t3", (0, 14)),
        ("t4", "t4", (0, 15)),
        ("t1", "archive", (0, 21)),
        ("t7", "needle select", (0, 23)),
    ]


def test_a_name_declared_under_another_id_is_the_same_thing() -> None:
    first, *_, again = read(BAD_LOGS / "declarations.csv").declared.tasks
    assert again == replace(first, id="t7", line=(0, 23))
    assert (again.period_ns, again.deadline_ns, again.priority) == (2_000_500, 1_800_000, 7)


def test_what_is_declared_of_a_name_holds_for_every_id_that_means_it() -> None:
    system = declared("#task id=a name=x\n#task id=b name=x\n#task id=a stack_bytes=64\n")
    assert [(task.id, task.stack_bytes) for task in system.tasks] == [("a", 64), ("b", 64)]


def test_a_thing_first_known_by_its_id_may_get_its_name_later() -> None:
    system = declared("#task id=t1 stack_bytes=64\n#task id=t1 name=a\n#task id=t2 name=t1\n")
    assert system.tasks == (
        Task("t1", "a", stack_bytes=64, line=(0, 3)),
        Task("t2", "t1", line=(0, 5)),
    )


def test_unknown_keys_and_declarations_are_kept_with_their_place() -> None:
    system = declared('#colour theme=dark\n#task id=t1 colour="deep red" name=a\n#clock tick=1\n')
    assert system.unknown == (
        ((0, 3), "#colour theme=dark"),
        ((0, 4), '#task id=t1 colour="deep red"'),
        ((0, 5), "#clock tick=1"),
    )
    assert system.tasks == (Task("t1", "a", line=(0, 4)),)


def test_the_usable_pairs_of_a_damaged_declaration_are_used() -> None:
    log = read_bytes(
        log_text("1,0,start,t1,", declared='#task id=t1 priority=x stack_bytes=64 na"me= core=0\n'),
        "log",
    )
    assert log.declared.tasks == (Task("t1", "t1", stack_bytes=64, core=0, line=(0, 3)),)
    assert unused(log) == {
        "a declaration that is not key=value": (1, ["3"]),
        "a declared value does not fit": (1, ["3"]),
    }


@pytest.mark.parametrize(
    ("pair", "expected"),
    [
        ("priority=1.5", "a whole number"),
        ("priority=１", "a whole number"),
        ("period_us=0", "a number of microseconds, more than 0"),
        ("period_us=1e3", "a number of microseconds, more than 0"),
        ("deadline_us=-1", "a number of microseconds, more than 0"),
        ("offset_us=NaN", "a number of microseconds, 0 or more"),
        ("offset_us=9999999999999999", "a number of microseconds, 0 or more"),
        ("stack_bytes=-1", "a whole number, 0 or more"),
        ("core=256", "a whole number from 0 to 255"),
        ("idle=maybe", "yes or no"),
        ("activation=", "a value"),
    ],
)
def test_strict_says_which_value_does_not_fit(pair: str, expected: str) -> None:
    data = log_text("1,0,start,t1,", declared=f"#task id=t1 {pair}\n")
    with pytest.raises(LogError) as caught:
        read_bytes(data, "log", strict=True)
    assert str(caught.value) == (
        f"log:3: a declared value does not fit: found {pair!r}, expected {expected}"
    )


@pytest.mark.parametrize("clock", ["hz=0", "hz=9000000001", "hz=-5", "hz=1e6"])
def test_a_clock_needs_ticks_a_second_that_can_be_counted(clock: str) -> None:
    with pytest.raises(LogError, match="#clock without a usable hz"):
        declared("", clock=clock)


def test_a_clock_repeated_with_the_same_values_is_the_same_clock() -> None:
    assert declared("#clock hz=1000000\n#clock late_us=5\n").clocks == (
        Clock(hz=1_000_000, bits=32, late_ns=5000),
    )


def test_declarations_may_follow_the_last_event() -> None:
    text = f"#tracelens 1\n{COLUMNS}5,0,start,t1,\n#clock hz=1000\n#task id=t1 name=late\n"
    log = read_bytes(text.encode(), "log")
    assert log.declared.tasks == (Task("t1", "late", line=(0, 5)),)
    assert (log.lines, log.unused.height) == (5, 0)


def test_many_declared_tasks_cost_time_in_proportion() -> None:
    """20 000 tasks, each declared twice; a search through a list of them would take minutes."""
    many = "".join(
        f"#task id=t{i} name=n{i}\n#task id=t{i} stack_bytes={i}\n" for i in range(20_000)
    )
    assert len(declared(many).tasks) == 20_000


def test_parts_of_two_runs_are_told_apart() -> None:
    log = read_bytes(
        log_text("1,0,start,t1,", declared="#run build=a board=b1\n#run build=b board=b1\n"), "log"
    )
    assert log.declared.run == {"build": "b", "board": "b1"}
    assert log.warnings == (
        "log:4: #run build=b where the log said build=a before: the later one is kept; see that "
        "the parts are of one run",
    )
