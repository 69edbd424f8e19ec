"""Value change dumps: a sample by hand, and a second, general reader on what we write."""

import signal
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from tracelens.convert.mapping_toml import parse_mapping
from tracelens.convert.vcd_in import convert_vcd
from tracelens.convert.vcd_out import write_vcd
from tracelens.errors import InputError, SystemFileError
from tracelens.reading import read

SAMPLES = Path(__file__).parents[2] / "sample_traces"

HEAD = """$timescale 1 us $end
$scope module cpu0 $end
$var wire 1 ! running_a $end
$var reg 2 " state_b [1:0] $end
$var real 64 # load $end
$scope module sub $end
$var wire 1 $ flag $end
$upscope $end
$upscope $end
$enddefinitions $end
"""
BODY = """#0
$dumpvars
0!
b00 "
r0 #
x$
$end
#5
1!
b1 "
#8
0!
b10 "
r0.375 #
#12
bz "
z$
#20
b0x "
1$
"""
"""After the grammar of IEEE 1364 (value change dump files): scalars without a blank, vectors and
reals with one, short vectors extended on the left."""

SIGNALS = """
[[signal]]
name = "running_a"
rise = ["start a"]
fall = ["start -"]
[[signal]]
name = "state_b"
values = { "1" = ["mark one"], "10" = ["mark two", "mark again 2"] }
[[signal]]
name = "sub.flag"
core = 1
rise = ["enter i"]
"""
EXPECTED = [
    "5000,0,start,a,", "5000,0,mark,one,", "8000,0,start,-,", "8000,0,mark,two,",
    "8000,0,mark,again,2", "20000,1,enter,i,",
]  # fmt: skip


def events(dump: str, mapping: str = SIGNALS) -> list[str]:
    text, _ = convert_vcd(dump.encode(), parse_mapping(mapping, "m.toml"), "a.vcd")
    return [line for line in text.decode().splitlines() if line[0].isdigit()]


def test_changes_become_events() -> None:
    assert events(HEAD + BODY) == EXPECTED


def test_several_tokens_on_a_line_are_as_good() -> None:
    assert events(" ".join((HEAD + BODY).split())) == EXPECTED


@pytest.mark.parametrize(
    ("scale", "ns"),
    [("1 ns", 5), ("10us", 50_000), ("100 ps", 0), ("1 s", 5_000_000_000), ("100 fs", 0)],
)
def test_the_scale_of_time(scale: str, ns: int) -> None:
    dump = (HEAD + BODY).replace("1 us", scale)
    assert events(dump)[0] == f"{ns},0,start,a,"


def test_signals_of_the_same_name_need_their_scope() -> None:
    twice = HEAD.replace("flag", "running_a") + BODY
    with pytest.raises(SystemFileError) as error:
        events(twice)
    assert str(error.value) == (
        "m.toml: signal 1: found 2 signals of the name running_a, expected one of cpu0.load, "
        "cpu0.running_a, cpu0.state_b, cpu0.sub.running_a"
    )
    assert events(twice, SIGNALS.replace('"running_a"', '"cpu0.running_a"').replace(
        "sub.flag", "sub.running_a")) == EXPECTED  # fmt: skip


@pytest.mark.parametrize(
    "dump", ["$timescale 1 us", HEAD + "#x\n", "$var wire 1", HEAD + "b2 !\n#"]
)
def test_what_is_no_dump_is_one_line(dump: str) -> None:
    with pytest.raises(InputError) as error:
        events(dump)
    assert "\n" not in str(error.value)


def read_by_another(path: Path) -> Any:
    """The dump as vcdvcd reads it, which shares no code with the library that we write with.

    Importing it lets a write to a closed pipe end the process, which would be a test worker later.
    """
    before = signal.getsignal(signal.SIGPIPE)
    import vcdvcd

    signal.signal(signal.SIGPIPE, before)
    return vcdvcd.VCDVCD(str(path))


def times_high(dump: Any, name: str, end: int) -> int:
    changes = [*dump[name].tv, (end, "")]
    return sum(b - a for (a, value), (b, _) in pairwise(changes)
               if value == "1")  # fmt: skip


@pytest.mark.parametrize("name", ["knitting_inversion", "knitting_two_cores"])
def test_another_reader_finds_the_same_time_in_what_we_write(name: str, tmp_path: Path) -> None:
    run = read(SAMPLES / f"{name}.csv")
    (tmp_path / "run.vcd").write_bytes(write_vcd(run))
    dump = read_by_another(tmp_path / "run.vcd")
    assert signal.getsignal(signal.SIGPIPE) == signal.SIG_IGN
    states = run.task_states.filter(run.task_states["state"] == "running")
    for task in run.task_states["task"].unique().cast(str).sort():
        of_task = states.filter(states["task"].cast(str) == task)
        ran = int((of_task["end_ns"] - of_task["start_ns"]).sum())
        assert times_high(dump, f"runs.{task}", run.span_ns) == ran
    handlers = run.isr_runs
    for isr in handlers["isr"].unique().cast(str).sort():
        of_isr = handlers.filter(handlers["isr"].cast(str) == isr)
        assert times_high(dump, f"interrupts.{isr}", run.span_ns) == int(
            (of_isr["end_ns"] - of_isr["start_ns"]).sum()
        )


def test_a_task_set_there_and_back() -> None:
    """Who runs when, through a dump and a mapping, is what was simulated."""
    run = read(SAMPLES / "knitting_healthy.csv")
    tasks = sorted(run.task_states["task"].unique().cast(str))
    mapping = "".join(
        f"[[signal]]\nname = 'runs.{task}'\nrise = ['start {task}']\n" for task in tasks
    )
    text, _ = convert_vcd(write_vcd(run), parse_mapping(mapping), "a.vcd")
    starts = [line.split(",") for line in text.decode().splitlines() if ",start," in line]
    running = run.task_states.filter(run.task_states["state"] == "running").sort("start_ns")
    expected = list(zip(running["start_ns"], running["task"].cast(str), strict=True))
    got = [(int(time), task) for time, _, _, task, _ in starts]
    assert [g for g in got if g[0] > 0] == [e for e in expected if e[0] > 0]


def test_a_bracket_that_is_open_at_the_end_does_not_keep_us_for_ever() -> None:
    with pytest.raises(InputError, match=r"^a\.vcd: not a value change dump: it ends within"):
        events(HEAD + "$var wire 4 ! a [")


def test_a_dump_of_too_many_signals_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tracelens.convert.vcd_in.MOST_NAMES", 3)
    mapping = parse_mapping('[[signal]]\nname = "running_a"\nrise = ["start a"]\n', "m.toml")
    with pytest.raises(InputError, match=r"^a\.vcd: too many signals: found 4, expected at most 3"):
        convert_vcd((HEAD + BODY).encode(), mapping, "a.vcd")
