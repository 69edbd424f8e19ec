"""What is typed after a command: times, shares, sizes, changes of a replay, kinds of damage."""

from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from io import StringIO
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.cli.conftest import INVERSION
from tests.fuzz.of_files import small_run
from tests.fuzz.of_logs import tried
from tests.fuzz.target import Target
from tracelens.cli.main import main
from tracelens.engine.damage import damage
from tracelens.engine.damage_words import parse_damage
from tracelens.replay import KINDS, parse, replay

_SET = """[priority]
order = "higher_first"
[tasks.a]
priority = 1
period_us = 1000
body = ["run 100"]
"""


def command(data: bytes) -> None:
    """A whole command line, a word a line: an exit status and a line, never a traceback."""
    words = [line.decode("utf-8", "surrogateescape") for line in data.split(b"\n")][:12]
    if not words or words[0] not in _SAFE:
        return
    with TemporaryDirectory() as name:
        for file, text in (("run.csv", INVERSION), ("set.toml", _SET)):
            (Path(name) / file).write_text(text)
        given = [word.replace("@", f"{name}/") for word in words]
        if any(_is_elsewhere(word, name) for word in given[1:]):
            return
        said = StringIO()
        with (
            (Path(name) / "screen").open("w", encoding="utf-8") as screen,
            redirect_stdout(screen),
            redirect_stderr(said),
        ):
            status = main(given)
    assert status in (0, 1, 2, 3, 4), status
    if status in (2, 3):
        assert said.getvalue().strip(), "nothing said"


_SAFE = (
    "report",
    "explain",
    "cut",
    "check",
    "compare",
    "whatif",
    "simulate",
    "schedule",
    "convert",
)


def _is_elsewhere(word: str, folder: str) -> bool:
    """Whether a word could name a file outside the folder: that is not to be tried."""
    return folder not in word and ("/" in word or "\\" in word or word == "-" or "*" in word)


def _commands() -> list[bytes]:
    lines = (
        "report @run.csv --from 10us --to 0.05ms",
        "report @run.csv --phase x --strict --json @o.json",
        "explain @run.csv --task needle_select --job 1",
        "explain @run.csv --miss 1",
        "cut @run.csv -o @s.csv --around 20us --margin 5us --redact",
        "cut @run.csv -o @s.csv --mark log_end",
        "check --suggest @run.csv --margin 20%",
        "compare @run.csv @run.csv --at-least 2% --error-rate 0.1 --fail-on worse",
        "whatif @run.csv --protocol flash_bus=inherit --scale archive=0.8",
        "whatif @run.csv --clock 0.5 --offset link=5us -o @p.csv",
        "whatif @run.csv --period link=50us --section archive/flash_bus=0.5",
        "whatif @run.csv --priority link=9 --core link=0 --without archive",
        "simulate @set.toml -o @m.csv --until 5ms --seed 3 --damage loss=0.1 --damage bits=16",
        "schedule @set.toml --json @s.json",
        "convert @run.csv -o @r.vcd --subtract-probe",
        "convert @run.csv @run.csv --offset 3us -o @both.csv",
        "convert @run.csv @run.csv --by-mark log_end -o @both.csv",
    )
    return ["\n".join(line.split()).encode() for line in lines]


def changes(data: bytes) -> None:
    """Changes of a replay, `KIND TEXT` a line."""

    def act() -> None:
        told = []
        for line in data.decode("utf-8", "replace").split("\n")[:4]:
            kind, _, text = line.partition(" ")
            if kind in KINDS:
                told.append(parse(kind, text))
        assert all(parse(one.kind, str(one).split(" ", 1)[1]) == one for one in told)
        replay(small_run(), told)

    tried(act)


def spoiled(data: bytes) -> None:
    """Words of damage, done to a log."""
    words = [word for word in data.decode("utf-8", "replace").split("\n") if word][:6]
    tried(lambda: damage(INVERSION.encode(), parse_damage(words), 1))


def _lines(*lines: str) -> Callable[[], list[bytes]]:
    return lambda: [line.encode() for line in lines]


_NUMBERS = (b"0", b"1e9", b"1e-9", b"nan", b"inf", b"-1", b"99999999999999999999", b".5", b"1.5",
            b"1ns", b"0.1ns", b"9e9s", b"100%", b"99999999999999999999s", b"\xd9\xa3s")  # fmt: skip

TARGETS = {
    "command": Target(
        command, _commands, (*_NUMBERS, b"--from", b"--to", b"--strict", b"@run.csv")
    ),
    "changes": Target(
        changes,
        _lines(
            "protocol flash_bus=inherit\nscale archive=0.8",
            "clock 0.5\noffset link=5us",
            "period link=50us\nsection archive/flash_bus=.5",
            "priority link=9\ncore link=0",
            "without archive",
            "protocol flash_bus=ceiling\npriority archive=0",
        ),
        (*_NUMBERS, *(kind.encode() for kind in KINDS), b"needle_select", b"link", b"archive"),
    ),
    "spoiled": Target(
        spoiled,
        _lines("loss=0.2\nbits=16\ncrlf", "late=0.1\ntorn=0.1\ncut", "restarts=2\nnoise=0.1"),
        _NUMBERS,
    ),
}
