"""What a recording is shows by itself; Parquet there and back; the probe's cost taken out."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.probe.encoder import stream
from tests.probe.test_dump import state
from tracelens.cli.main import main
from tracelens.convert.kinds import kind_of
from tracelens.convert.parquet import from_parquet, to_parquet
from tracelens.convert.probe_cost import subtract
from tracelens.errors import InputError
from tracelens.log import read, read_bytes

SAMPLES = Path(__file__).parents[2] / "sample_traces"
LOG = b"#tracelens 1\n#clock hz=1000 bits=32\ntime,core,event,subject,value\n1,0,start,a,\n"


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (LOG, "event log"),
        (b"\xff\xfenoise\n" + LOG, "event log"),
        (stream(20), "the probe's stream"),
        (b"noise" + stream(20), "the probe's stream"),
        (b"\0" * 99 + state("<"), "the probe's memory"),
        (state(">"), "the probe's memory"),
        (b"  $date today $end", "value change dump"),
        (b"PAR1....", "Parquet"),
        (b"[0.1] something else\n", ""),
        (b"", ""),
    ],
)
def test_what_it_is_shows_by_itself(data: bytes, kind: str) -> None:
    assert kind_of(data) == kind


WORD = st.text(st.sampled_from("abcxyz_0189"), min_size=1, max_size=6)
LINE = st.one_of(
    st.tuples(
        st.integers(0, 2**64 - 1), st.integers(0, 255), st.sampled_from(["start", "wait", "mark"]),
        WORD, st.just("") | WORD,
    ).map(lambda parts: ",".join(map(str, parts))),
    st.sampled_from(["#tracelens 1", "time,core,event,subject,value"]),
    WORD.map(lambda word: f"#task id={word} name={word}"),
)  # fmt: skip


@given(st.lists(LINE, max_size=30))
def test_parquet_gives_back_every_line(lines: list[str]) -> None:
    text = "".join(f"{line}\n" for line in lines).encode()
    assert from_parquet(to_parquet(text, "a"), "a") == text


@pytest.mark.parametrize("name", ["knitting_two_cores", "knitting_bad_capture"])
def test_samples_through_parquet_read_the_same(name: str, tmp_path: Path) -> None:
    """A damaged log is written clean first: Parquet has no place for lines that say nothing."""
    source, packed, back = SAMPLES / f"{name}.csv", tmp_path / "a.parquet", tmp_path / "b.csv"
    assert main(["convert", str(source), "-o", str(packed)]) == 0
    assert main(["convert", str(packed), "-o", str(back)]) == 0
    columns = ("time_ns", "core", "event", "subject", "value", "boot")
    before, after = (read(path).events.select(columns) for path in (source, back))
    assert before.with_columns(before["subject"].cast(str), before["value"].cast(str)).equals(
        after.with_columns(after["subject"].cast(str), after["value"].cast(str))
    )


def test_another_parquet_file_is_no_log(tmp_path: Path) -> None:
    import polars as pl

    pl.DataFrame({"a": [1]}).write_parquet(tmp_path / "a.parquet")
    data = (tmp_path / "a.parquet").read_bytes()
    with pytest.raises(
        InputError, match="no event log: found Parquet that is not made by tracelens"
    ):
        from_parquet(data, "a.parquet")
    with pytest.raises(InputError, match="no whole Parquet"):
        from_parquet(data[:50], "a.parquet")


def test_the_cost_of_the_probe_is_taken_out() -> None:
    """640 ticks for 64 events at 1 MHz: 10 µs an event, so the n-th event was n × 10 µs late."""
    text = LOG.replace(b"hz=1000 ", b"hz=1000000 ").replace(
        b"time,", b"#run probe_ticks_for_64_events=640\ntime,"
    )
    log = read_bytes(text + b"101,0,mark,x,1\n105,0,mark,x,2\n131,0,mark,x,3\n", "a")
    made, cost_ns = subtract(log)
    assert cost_ns == 10_000
    assert made.events["time_ns"].to_list() == [0, 90_000, 90_000, 100_000]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["a.log", "-o", "x.csv"], "a.log: no recording that shows by itself: found 'hello"),
        (["a.vcd", "-o", "x.csv"], "a.vcd is a value change dump: found no mapping, expected one"),
        (["a.csv"], "nowhere to write: found no -o, expected -o OUT"),
        (["a.csv", "a.csv", "-o", "x.csv"], "found 2 recordings, expected 1"),
        (["a.csv", "--by-mark", "s", "-o", "x.csv"], "found 1 recordings, expected 2"),
        (["a.csv", "a.csv", "--by-mark", "s", "--offset", "1s", "-o", "x"], "two ways to merge"),
        (["a.csv", "--try"], "nothing to try: found no --map"),
        (["a.csv", "a.log", "--by-mark", "s", "-o", "x.csv"], "a.log: not an event log"),
        (["a.csv", "-o", "x.csv", "--subtract-probe"], "the log does not say what an event cost"),
        (["none.csv", "-o", "x.csv"], "none.csv: no such file"),
    ],
)
def test_what_cannot_be_is_said_in_one_line(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    arguments: list[str],
    said: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("a.csv").write_bytes(LOG)
    Path("a.log").write_text("hello\n")
    Path("a.vcd").write_text("$date $end\n")
    assert main(["convert", *arguments]) in (2, 3)
    error = capsys.readouterr().err
    assert error.startswith(f"tracelens: {said}"), error
    assert len(error.splitlines()) <= 2
    assert not Path("x.csv").exists()


def test_a_stream_that_lost_something_says_so(tmp_path: Path, capsys) -> None:
    data = stream(100)
    half = len(data) // 2
    (tmp_path / "s.bin").write_bytes(data[:half] + data[half + 60 :])
    assert main(["convert", str(tmp_path / "s.bin"), "-o", str(tmp_path / "s.csv")]) == 0
    assert "events lost" in capsys.readouterr().err
    assert read(tmp_path / "s.csv").events["event"].value_counts().height == 2
