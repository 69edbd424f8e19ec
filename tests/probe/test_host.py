"""The probe on this machine: two threads as cores, timer signals as interrupts, under sanitizers.

What it recorded must equal what the program counted itself, lost records included.
"""

import re
import subprocess
from collections import Counter

import pytest

from tests.probe import build
from tests.probe.build import directory, program, run
from tracelens.log import read_bytes
from tracelens.log.reader import Log
from tracelens.probe.dump import read_dump
from tracelens.probe.records import CODES
from tracelens.probe.sources import source
from tracelens.probe.stream import Stream

# A ring that holds all, however seldom a busy machine lets the reader run.
LARGE = "-DTL_RECORDS=65536u"
SANITIZERS = ("-O1", "-g", LARGE, "-fsanitize=address,undefined", "-fno-sanitize-recover=all")


def counted(log: Log) -> Counter[tuple[str, int]]:
    """(word, core) → how often it stands in a log; marks in the probe's three words."""
    words = log.events.select("event", "core", "value").rows()
    return Counter((f"{event} {value}" if event == "mark" and value in ("begin", "end") else event,
                    core) for event, core, value in words)  # fmt: skip


def expected(counts: dict[tuple[int, int], int]) -> Counter[tuple[str, int]]:
    made: Counter[tuple[str, int]] = Counter()
    for (code, core), count in counts.items():
        made["mark" if CODES[code] == "mark point" else CODES[code], core] += count
    return made


def read(text: bytes) -> Log:
    log = read_bytes(text, "log")
    assert log.unused.is_empty(), log.unused
    assert log.warnings == ()
    return log


def test_all_that_happened_is_in_the_stream() -> None:
    data, counts = run(program(*SANITIZERS), "stream", "1500", "0")
    stream = Stream()
    log = read(stream.feed(data))
    assert (stream.counters.lost, stream.counters.damaged) == (0, 0)
    assert counted(log) == expected(counts)
    declared = log.declared
    assert [task.name for task in declared.tasks] == [
        "needle_select", "tension_ _left_", "idle0", "idle1"
    ]  # fmt: skip
    first = declared.tasks[0]
    assert (first.priority, first.period_ns, first.deadline_ns) == (6, 2_000_000, 1_800_000)
    assert declared.tasks[1].priority == -5
    assert declared.isrs[1].name == "a name that is long"
    assert "warm_up" in log.events["subject"].unique().to_list()


def test_what_found_no_room_is_counted() -> None:
    built = program("-O2", "-DTL_RECORDS=64u", *SANITIZERS[3:])
    data, counts = run(built, "stream", "1500", "10", "1500")
    stream = Stream()
    read(stream.feed(data))
    assert stream.counters.lost > 0
    assert stream.counters.events + stream.counters.lost == sum(counts.values())


def test_a_counter_that_wraps() -> None:
    data, counts = run(program(*SANITIZERS), "stream", "200", "0", "50", str(2**32 - 3000))
    log = read(Stream().feed(data))
    assert sum(counted(log).values()) == sum(counts.values())
    assert log.events["time_ns"].is_sorted()
    assert log.events["boot"].max() == 0


def test_a_dump_of_the_memory_is_a_log() -> None:
    data, counts = run(program(*SANITIZERS), "dump", "300", "0")
    dump = read_dump(b"\xff" * 137 + data + b"\0" * 9, "dump.bin")
    log = read(dump.text)
    assert counted(log) == expected(counts)
    assert dump.events == sum(counts.values())
    streamed = read(Stream().feed(run(program(*SANITIZERS), "stream", "9", "0")[0]))
    assert [t.name for t in log.declared.tasks] == [t.name for t in streamed.declared.tasks]


def test_the_newest_are_kept_when_the_ring_is_full() -> None:
    data, counts = run(program("-O2", "-DTL_RECORDS=64u", *SANITIZERS[3:]), "dump", "100", "0")
    dump = read_dump(data, "dump.bin")
    lost = [line for line in dump.text.decode().splitlines() if ",lost," in line]
    assert dump.events - len(lost) + sum(int(line.split(",")[4]) for line in lost) == sum(
        counts.values()
    )


def test_it_freezes_at_the_late_job_and_survives_a_reset() -> None:
    data = subprocess.run(
        [program(*SANITIZERS), "keep", "200", "0"], capture_output=True, check=True
    )
    assert data.stderr == b"", "the ring must survive"
    stream = Stream()
    text = stream.feed(data.stdout).decode()
    first, second = (part for part in text.split("#tracelens 1\n") if part)
    rows = [line.split(",") for line in first.splitlines() if line[0].isdigit()]
    assert [row[2] for row in rows[-3:]] == ["release", "start", "wait"]
    assert int(rows[-1][0]) - int(rows[-3][0]) >= 4000, "the job that was late is the last"
    assert len(rows) == 3 * 101
    assert [line.split(",")[2] for line in second.splitlines() if line[0].isdigit()] == ["start"]


def test_the_page_of_hooks_names_what_there_is_and_compiles() -> None:
    """Every function that the page names is in the header, every one of the header in the page, and
    the page's code compiles."""
    page, header = source("HOOKS.md").decode(), source("tracelens_probe.h").decode()
    offered = set(re.findall(r"^#define (tl_\w+)\(|\b(tl_\w+)\(", header, re.MULTILINE))
    offered = {name for pair in offered for name in pair if name}
    named = set(re.findall(r"\btl_[a-z_]+", page))
    inner = {"tl_record", "tl_mark", "tl_mark_begin", "tl_mark_end", "tl_mark_point", "tl_mask",
             "tl_unmask", "tl_repeat_names", "tl_preempt"}  # fmt: skip
    assert named - offered - {"tl_state"} == set()
    assert offered - named - inner == set()
    block = re.search(r"```c\n(.*?)```", page, re.DOTALL)
    assert block is not None
    names, calls = block[1].split("\n\n", 1)
    text = f'#include "tracelens_probe.h"\n{names}\nvoid f(void);\nvoid f(void)\n{{\n{calls}}}\n'
    (directory() / "page.c").write_text(text, encoding="utf-8")
    subprocess.run(
        ["gcc", *build.STRICT, "-I.", "-c", "page.c", "-o", "page.o"], cwd=directory(), check=True
    )


@pytest.mark.parametrize("options", [("-Os", "-pedantic"), ("-O3", "-Wconversion", "-Wshadow")])
def test_it_compiles_without_a_word(options: tuple[str, ...]) -> None:
    subprocess.run(
        ["gcc", *build.STRICT, *options, "-I.", "-c", "tracelens_probe.c", "-o", "p.o"],
        cwd=directory(), check=True,
    )  # fmt: skip


def test_it_needs_no_library() -> None:
    """No symbol but the port's own: no allocation, no libc."""
    made = directory() / "free.o"
    subprocess.run(
        ["gcc", *build.STRICT, "-Os", "-ffreestanding", "-I.", "-c", "tracelens_probe.c", "-o",
         made], cwd=directory(), check=True,
    )  # fmt: skip
    said = subprocess.run(["nm", "-u", made], capture_output=True, text=True, check=True).stdout
    wanted = {line.split()[-1] for line in said.splitlines()}
    assert wanted <= {"host_counter", "host_core", "host_mask", "host_restore",
                      "_GLOBAL_OFFSET_TABLE_"}  # fmt: skip
