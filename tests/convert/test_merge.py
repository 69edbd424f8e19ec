"""Logs with clocks of their own: the straight line found again, names and cores kept apart."""

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracelens.cli.main import main
from tracelens.convert.merge import Alignment, align, merge
from tracelens.errors import InputError, UsageError
from tracelens.log import read, read_bytes

HEAD = "#tracelens 1\n#clock hz={hz} bits=64\n#priority order=higher_first\n#core id=0 name=main\n"
NAMES = "#task id=t1 name=idle idle=yes\n#task id=t2 name={own} priority=3\n"
COLUMNS = "time,core,event,subject,value\n"


def log(own: str, events: list[str], hz: int = 1_000_000):
    text = HEAD.format(hz=hz) + NAMES.format(own=own) + COLUMNS + "\n".join(events) + "\n"
    return read_bytes(text.encode(), f"{own}.csv")


def beacon(times: list[int], *, first: int = 1) -> list[str]:
    return [f"{time},0,mark,sync,{n}" for n, time in enumerate(times, first)]


@given(st.floats(-1e9, 1e9), st.floats(-200e-6, 200e-6), st.integers(2, 40), st.integers(0, 2**32))
def test_offset_and_drift_are_found_again(
    offset: float, drift: float, marks: int, seed: int
) -> None:
    """Least squares on noise-free marks gives back the line, to the rounding of the ticks."""
    rng = np.random.default_rng(seed)
    true = np.sort(rng.integers(2_000_000_000, 10_000_000_000, marks))
    true = true + np.arange(marks) * 1_000_000
    theirs = np.round((true - offset) / (1 + drift)).astype(int)
    a = log("a", beacon(list(true)), 1_000_000_000)
    b = log("b", beacon(list(theirs)), 1_000_000_000)
    found = align(a, b, "sync")
    back = found.offset_ns + found.rate * b.events["time_ns"].to_numpy()
    assert np.abs(back - a.events["time_ns"].to_numpy()).max() < 2
    assert found.residual_ns < 2
    assert found.marks == marks


def test_marks_are_paired_by_their_value() -> None:
    a = log("a", beacon([100, 200, 300]))
    b = log("b", ["0,0,start,t2,", *beacon([50, 150], first=2)])
    found = align(a, b, "sync")
    assert (found.marks, found.offset_ns, found.rate) == (2, 50_000, 1.0)


def test_the_residual_says_how_well_it_holds() -> None:
    """Three marks, the middle one 3 µs late: the fitted line leaves −1, +2, −1 µs (by hand)."""
    a, b = log("a", beacon([0, 1003, 2000])), log("b", beacon([0, 1000, 2000]))
    assert align(a, b, "sync").residual_ns == pytest.approx(2000)


@pytest.mark.parametrize(
    ("a", "b", "said"),
    [
        (beacon([1]), ["1,0,start,t2,"], "found 1 marks sync in the first log and 0 in the second"),
        (beacon([1]), beacon([1], first=7), "none with a value that both have"),
        (beacon([0, 1000]), beacon([0, 2000]), "the clocks do not fit: found a rate of 0.5"),
    ],
)
def test_what_does_not_fit_is_said(a: list[str], b: list[str], said: str) -> None:
    with pytest.raises(UsageError, match=said):
        align(log("a", a), log("b", b), "sync")


def test_both_are_one_log_with_names_and_cores_apart(tmp_path) -> None:
    a = log("motor", ["100,0,start,t1,", "105,0,mark,sync,1", "110,0,start,t2,"])
    b = log("radio", ["7,0,start,t2,", "8,0,mark,sync,1", "9,0,wait,t2,delay", "9,0,sleep,0,"])
    merged = merge(a, b, align(a, b, "sync"), "radio")
    assert merged.events.select("time_ns", "core", "event", "subject", "value").rows() == [
        (0, 0, "start", "t1", None), (4000, 1, "start", "t2.radio", None),
        (5000, 0, "mark", "sync", "1"), (5000, 1, "mark", "sync", "1"),
        (6000, 1, "wait", "t2.radio", "delay"), (6000, 1, "sleep", "1", None),
        (10000, 0, "start", "t2", None),
    ]  # fmt: skip
    declared = merged.declared
    assert [task.name for task in declared.tasks] == ["idle", "motor", "idle.radio", "radio"]
    assert [(core.id, core.name) for core in declared.cores] == [(0, "main"), (1, "main.radio")]


def test_a_second_that_began_first_moves_the_begin() -> None:
    a, b = log("a", ["10,0,start,t1,"]), log("b", ["0,0,start,t2,"])
    merged = merge(a, b, Alignment(-5000.0, 1.0, 0, 0.0), "b")
    assert merged.events["time_ns"].to_list() == [0, 5000]
    assert merged.events["core"].to_list() == [1, 0]


def test_a_log_with_two_boots_is_refused() -> None:
    text = HEAD.format(hz=1000) + COLUMNS + "5,0,start,a,\n#tracelens 1\n" + COLUMNS
    text += "0,0,start,a,\n"
    with pytest.raises(InputError, match="restarted within the log"):
        merge(read_bytes(text.encode(), "x"), log("b", ["1,0,start,t2,"]),
              Alignment(0.0, 1.0, 0, 0.0), "b")  # fmt: skip


def test_cores_are_numbered_on_after_those_that_are_only_declared() -> None:
    own = "#core id=3 name=spare\n#queue id=q name=box\n"
    text = HEAD.format(hz=1000) + own + "#task id=t1 name=w core=0 activation=q\n" + COLUMNS
    a, b = (read_bytes(f"{text}1,0,start,t1,\n".encode(), name) for name in ("a", "b"))
    merged = merge(a, b, Alignment(0.0, 1.0, 0, 0.0), "b")
    assert [core.id for core in merged.declared.cores] == [0, 3, 4, 7]
    assert merged.events["core"].to_list() == [0, 4]
    assert [task.core for task in merged.declared.tasks] == [0, 4]
    assert [task.activation for task in merged.declared.tasks] == ["q", "q.b"]


@pytest.mark.parametrize(
    ("ours", "theirs", "number"), [(200, 200, 401), (255, 0, 256), (0, 255, 256)]
)
def test_cores_that_have_no_number_left_are_said(ours: int, theirs: int, number: int) -> None:
    a, b = log("a", [f"1,{ours},start,t1,"]), log("b", [f"1,{theirs},start,t1,"])
    with pytest.raises(InputError, match=rf"^b.csv: no numbers .*: found {number} for the last"):
        merge(a, b, Alignment(0.0, 1.0, 0, 0.0), "b")
    if theirs:
        last = log("b", [f"1,{255 - ours - 1},start,t1,"])
        assert merge(a, last, Alignment(0.0, 1.0, 0, 0.0), "b").events["core"].max() == 255


def test_from_the_command_line(tmp_path, capsys, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    for name, events in (("motor", beacon([0, 1000])), ("radio", beacon([500, 1501]))):
        text = HEAD.format(hz=1_000_000) + NAMES.format(own=name) + COLUMNS + "\n".join(events)
        (tmp_path / f"{name}.csv").write_text(text + "\n")
    assert main(["convert", "motor.csv", "radio.csv", "--by-mark", "sync", "-o", "both.csv"]) == 0
    said = capsys.readouterr()
    assert said.err == (
        "2 marks sync: offset 0.000 µs, drift +1000.00 ppm, largest residual 0.000 µs\n"
    )
    assert said.out == "both.csv: from 4 lines of events\n"
    both = read(tmp_path / "both.csv")
    assert both.events["time_ns"].to_list() == [0, 0, 1_000_000, 1_000_000]
    assert both.unused.is_empty()
    assert main(["convert", "motor.csv", "radio.csv", "--offset", "3ms", "-o", "both.csv"]) == 0
    times = read(tmp_path / "both.csv").events.filter(pl.col("core") == 1)["time_ns"].to_list()
    assert times == [3_000_000, 4_001_000]
