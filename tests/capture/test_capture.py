"""From a channel to a log: a pseudo-terminal, a socket, a pipe; noise, loss, a plug pulled."""

import io
import os
import random
import signal
import socket
import subprocess
import sys
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import FileIO
from pathlib import Path

import pytest

from tests.probe.build import program, run
from tests.probe.encoder import HEAD, count, record, stream
from tracelens.analysis import analyse
from tracelens.capture import channels, recorder
from tracelens.capture.channels import open_channel
from tracelens.capture.intake import Text, Unknown
from tracelens.capture.recorder import Bounds, Captured
from tracelens.capture.watch import Watch
from tracelens.cli.main import main
from tracelens.errors import InputError, UsageError
from tracelens.log import read
from tracelens.probe.stream import Stream
from tracelens.reading import read as read_run

TEXT = b"#tracelens 1\n#clock hz=1000000 bits=32\ntime,core,event,subject,value\n"


@contextmanager
def pseudo_terminal() -> Iterator[tuple[int, str]]:
    """(file descriptor of the target's side, name of the device)."""
    target, device = os.openpty()
    tty.setraw(target)
    try:
        yield target, os.ttyname(device)
    finally:
        os.close(target)
        os.close(device)


def taken(
    port: str, log: Path, until: Bounds, send_now: Callable[[], None] = lambda: None
) -> tuple[Captured, Unknown]:
    """Record from `port`; `send_now` runs beside it once the port is open: what a serial port got
    before that is gone."""
    intake = Unknown()
    with FileIO(log, "w") as file:
        channel = open_channel(port, 115200)
        threading.Thread(target=send_now).start()
        done = recorder.record(channel, lambda: open_channel(port, 115200), intake, file, until)
    return done, intake


def send(target: int, data: bytes) -> None:
    for at in range(0, len(data), 4096):
        os.write(target, data[at : at + 4096])


def test_the_probe_over_a_terminal_at_full_speed_with_noise_and_loss(tmp_path: Path) -> None:
    data, counts = run(program("-O2"), "stream", "1200", "0")
    rng = random.Random(7)
    body, frames = data.split(b"\0"), []
    gone = noise = 0
    for i, frame in enumerate(body[:-1]):
        if 50 < i < len(body) - 200 and rng.random() < 0.01:
            gone += 1
            continue
        if i > 50 and rng.random() < 0.01:
            frames.append(bytes(rng.randrange(1, 256) for _ in range(9)))
            noise += 1
        frames.append(frame)
    clean = Stream()
    now = int(clean.feed(data).splitlines()[-1].split(b",")[0])
    # A mark of a core that has said nothing yet, of an object without a name.
    sent = b"\0".join(frames) + b"\0" + record(0, 27, 2, now + 1, 15)
    with pseudo_terminal() as (target, device):
        until = Bounds(seconds=30, mark="o15")
        done, intake = taken(device, tmp_path / "run.csv", until, lambda: send(target, sent))
    counters = intake.counters
    assert done.reason == "o15 was marked"
    assert counters.events - 1 + counters.lost == sum(counts.values())
    log = read(tmp_path / "run.csv")
    # Of the frames that went, one in 65 was no record but a count.
    assert gone - gone // 10 <= counters.lost - clean.counters.lost <= gone
    assert counters.damaged == noise
    assert log.unused.is_empty()
    analysis = analyse(read_run(tmp_path / "run.csv"))
    assert analysis.quality.lost_events == counters.lost


def test_text_over_a_terminal(tmp_path: Path) -> None:
    lines = b"".join(b"%d,0,mark,step,%d\n" % (10 * i, i) for i in range(500))
    with pseudo_terminal() as (target, device):
        sent = b"\xf0\x81noise\r\n" + TEXT + lines + b"5000,0,mark,end,\n"
        until = Bounds(seconds=30, mark="end")
        done, _ = taken(device, tmp_path / "run.csv", until, lambda: send(target, sent))
    assert done.reason == "end was marked"
    assert read(tmp_path / "run.csv").events.height == 501


def server(parts: list[bytes], port: int = 0) -> tuple[int, threading.Thread]:
    """Sends each part to one connection and hangs up."""
    listening = socket.create_server(("127.0.0.1", port))

    def serve() -> None:
        with listening:
            for part in parts:
                connection, _ = listening.accept()
                with connection:
                    connection.sendall(part)

    thread = threading.Thread(target=serve)
    thread.start()
    return listening.getsockname()[1], thread


def test_a_socket_that_hangs_up_is_opened_again(tmp_path: Path) -> None:
    first = stream(100)
    second = b"".join(record(i, 24, 0, 1000 + 10 * i, 9, i) for i in range(140, 200))
    port, thread = server([first, second + count(0, 200) + record(200, 27, 0, 9000, 15)])
    address = f"tcp://127.0.0.1:{port}"
    done, intake = taken(address, tmp_path / "run.csv", Bounds(seconds=30, mark="o15"))
    thread.join()
    assert (done.reason, done.gaps) == ("o15 was marked", 1)
    assert (intake.counters.events, intake.counters.lost) == (161, 40)
    assert '#note text="the channel was away from' in (tmp_path / "run.csv").read_text()


def test_text_that_breaks_off_has_a_gap_in_the_log(tmp_path: Path) -> None:
    first = TEXT + b"10,0,start,a,\n20,1,start,b,\n30,0,wai"
    port, thread = server([first, b"t,a,delay\n90,1,start,c,\n95,0,mark,end,\n"])
    address = f"tcp://127.0.0.1:{port}"
    _, intake = taken(address, tmp_path / "run.csv", Bounds(seconds=30, mark="end"))
    thread.join()
    lines = (tmp_path / "run.csv").read_text().splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("#note"))
    assert lines[at - 1] == "30,0,wai"
    assert lines[at + 1 :] == [
        "t,a,delay", "90,0,lost,,1", "90,1,lost,,1", "90,1,start,c,", "95,0,mark,end,",
    ]  # fmt: skip
    assert intake.counters.lost == 2


@pytest.mark.parametrize(
    ("until", "reason"),
    [
        (Bounds(seconds=0.3), "the time was up"),
        (Bounds(seconds=30, octets=200), "the size was reached"),
        (Bounds(seconds=30, miss=True), "a job was late"),
    ],
)
def test_what_ends_a_capture(tmp_path: Path, until: Bounds, reason: str) -> None:
    said = b"#task id=a name=a priority=1 deadline_us=50\n"
    jobs = b"".join(
        b"%d,0,release,a,\n%d,0,start,a,\n%d,0,wait,a,delay\n" % (t, t + 1, t + 50 + t // 9000)
        for t in range(1000, 10_000, 1000)
    )
    with pseudo_terminal() as (target, device):
        sent = TEXT + said + jobs
        done, _ = taken(device, tmp_path / "run.csv", until, lambda: send(target, sent))
    assert done.reason == reason


def test_it_begins_at_a_mark(tmp_path: Path) -> None:
    said = TEXT + b"#task id=a name=a\n1,0,start,a,\n2,0,mark,warm,\n"
    said += b"3,0,mark,go,\n4,0,start,a,\n5,0,mark,end,\n"
    with pseudo_terminal() as (target, device):
        bounds = Bounds(from_mark="go", seconds=30, mark="end")
        taken(device, tmp_path / "run.csv", bounds, lambda: send(target, said))
    assert (tmp_path / "run.csv").read_text().splitlines()[3:] == [
        "#task id=a name=a", "3,0,mark,go,", "4,0,start,a,", "5,0,mark,end,"
    ]  # fmt: skip


def test_what_came_survives_a_kill(tmp_path: Path) -> None:
    """SIGKILL loses the line, or frame, that was still coming, and no other."""
    log = tmp_path / "run.csv"
    with pseudo_terminal() as (target, device):
        capture = subprocess.Popen(
            [sys.executable, "-m", "tracelens", "capture", device, "-o", log], cwd=Path.cwd()
        )
        while not log.exists():
            time.sleep(0.05)
        time.sleep(0.2)
        data = stream(500)
        send(target, data + record(500, 2, 0, 7000, 1)[:-4])
        until = time.monotonic() + 30
        while time.monotonic() < until and not (log.exists() and b",499\n" in log.read_bytes()):
            time.sleep(0.05)
        capture.send_signal(signal.SIGKILL)
        capture.wait()
    assert read(log).events.height == 500


def test_an_interrupt_ends_it_well(tmp_path: Path) -> None:
    log = tmp_path / "run.csv"
    with pseudo_terminal() as (target, device):
        capture = subprocess.Popen(
            [sys.executable, "-m", "tracelens", "capture", device, "-o", log],
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        while not log.exists():
            time.sleep(0.05)
        time.sleep(0.2)
        send(target, stream(50))
        until = time.monotonic() + 30
        while time.monotonic() < until and not (log.exists() and b",49\n" in log.read_bytes()):
            time.sleep(0.05)
        capture.send_signal(signal.SIGINT)
        said, _ = capture.communicate(timeout=30)
    assert capture.returncode == 0
    assert said == f"{log}: 50 events, 0 lost; interrupted.\n"


def errors(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str]:
    status = main(["capture", *arguments])
    return status, capsys.readouterr().err


def test_what_cannot_be_is_said_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    log = str(tmp_path / "run.csv")
    there = tmp_path / "there.csv"
    there.write_text("mine")
    with socket.create_server(("127.0.0.1", 0)) as taken_port:
        free = taken_port.getsockname()[1]
    for arguments, status, said in [
        (("/dev/nothing", "-o", log), 3, "/dev/nothing: cannot be opened: "),
        ((f"tcp://127.0.0.1:{free}", "-o", log), 3, "cannot be opened: Connection refused"),
        (("tcp://nowhere", "-o", log), 2, "found 'tcp://nowhere', expected tcp://HOST:PORT"),
        (("tcp://h:99999", "-o", log), 2, "expected tcp://HOST:PORT"),
        (("-", "-o", str(there)), 2, "is there already: found a file, expected none"),
        (("-", "-o", "-"), 2, "a capture goes to a file: found -"),
        (("-", "-o", f"{log}.gz"), 2, "a capture is not compressed"),
        (("-", "-o", log, "--size", "20"), 2, "found '20', expected a size such as 500kB"),
    ]:
        got, text = errors(capsys, *arguments)
        assert (got, said in text) == (status, True), text
        assert len(text.splitlines()) == 2
        assert not Path(log).exists()
    assert there.read_text() == "mine"
    monkeypatch.setitem(sys.modules, "serial", None)
    assert "pip install 'tracelens[serial]'" in errors(capsys, "/dev/ttyS0", "-o", log)[1]


def test_nothing_that_is_a_log(tmp_path: Path) -> None:
    log = tmp_path / "run.csv"
    done = subprocess.run(
        [sys.executable, "-m", "tracelens", "capture", "-", "-o", log], input=b"\xff" * 100,
        capture_output=True, check=False,
    )  # fmt: skip
    assert done.returncode == 3
    assert b"found 101 bytes and no event (the input ended)" in done.stderr
    assert log.read_bytes() == b"\xff" * 100 + b"\n", "what came is kept all the same"


def test_it_shows_by_itself_which_of_the_two_comes() -> None:
    for data, events in [
        (stream(9), 9),
        (TEXT + b"1,0,start,a,\n", 1),
        (b"x\n1,0,start,a,\n\n", 1),
    ]:
        intake = Unknown()
        for octet in io.BytesIO(data):
            intake.feed(octet)
        intake.end()
        assert intake.counters.events == events
        assert isinstance(intake.chosen, Text) == (data[:6] != HEAD[:6])


def test_the_load_while_it_comes() -> None:
    """Worked by hand: o2 is idle; busy 0 to 30 and 50 to 100 of 100 ticks."""
    watch = Watch()
    watch.see(TEXT + b'#task id=o2 name="Idle task" priority=0\n')
    watch.see(b"0,0,start,o1,\n30,0,start,o2,\n50,0,start,o1,\n100,0,start,o2,\n")
    assert watch.take_load() == 0.8
    assert watch.take_load() is None
    watch.see(b"4294967290,1,start,o1,\n4,1,start,o2,\n9,1,start,o1,\n")
    assert watch.take_load() == 10 / 15, "the counter wraps"


def test_channels_close(tmp_path: Path) -> None:
    with pytest.raises(UsageError):
        channels.open_channel("tcp://", 1)
    with pytest.raises(InputError):
        channels.open_channel(str(tmp_path / "none"), 9600)
