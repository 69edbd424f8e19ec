"""The commands that are run, and the logs that they are run on.

All paths are relative to one directory: what is said must not tell where that lies.
"""

import gzip
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from tests.random_logs import random_log
from tracelens.exercises.kinds import KINDS

ROOT: Final = Path(__file__).parents[2]
SAMPLES: Final = ROOT / "sample_traces"

Asked = tuple[str, str]
"""SUBJECT/NAME and the command; its answers come to lie in the directory said/SUBJECT/NAME."""

RANDOM: Final = {  # name: seed, events, cores, damaged
    "random_1": (1, 400, 1, False),
    "random_2": (2, 400, 2, False),
    "random_3": (3, 900, 2, True),
    "random_5": (5, 900, 1, True),
    "random_8": (8, 900, 2, True),
    "random_13": (13, 400, 1, True),
}
QUICK: Final = ("random_3", "deadlock_none", "deadline_order")
QUICKLY: Final = ("report", "explain", "suggest", "check_suggested", "schedule", "whatif", "cut")
"""Logs and questions with which the quick test makes do: damage on two cores; a deadlock; ties."""

OF_A_LOG: Final = {
    "report": "report {log} --json {to}/report.json --markdown {to}/report.md"
    " --html {to}/report.html --tables {to}/tables",
    "window": "report {log} --from 100us --to 60ms",
    "explain": "explain {log} --json {to}/explain.json",
    "suggest": "check --suggest {log} -o {to}/budgets.toml",
    "check_suggested": "check {log} --budgets {to}/../suggest/budgets.toml",
    "check": "check {log} --budgets sets/knitting_budgets.toml --today 2026-03-02"
    " --json {to}/check.json --markdown {to}/check.md --junit {to}/check.xml"
    " --annotations {to}/check.txt",
    "schedule": "schedule {log} --json {to}/schedule.json",
    "whatif": "whatif {log} --clock 0.9 -o {to}/then.csv --json {to}/whatif.json",
    "search": "whatif {log} --search --json {to}/search.json",
    "cut": "cut {log} -o {to}/cut.csv",
    "redact": "cut {log} -o {to}/cut.csv.gz --redact",
    "convert_vcd": "convert {log} -o {to}/then.vcd",
    "convert_parquet": "convert {log} -o {to}/then.parquet",
    "convert_csv": "convert {log} -o {to}/then.csv",
    "convert_zst": "convert {log} -o {to}/then.csv.zst",
}
OF_A_LARGE_LOG: Final = ("report", "explain", "check_suggested", "schedule", "convert_csv")
"""... what takes seconds on it; before `check_suggested` comes what that reads."""

LARGE: Final = {
    "large": "simulate sets/knitting_healthy.toml -o {to}/run.csv --until 10s",
    "large_torn": "simulate sets/knitting_two_cores.toml -o {to}/run.csv --until 9s"
    " --damage loss=0.005 --damage late=0.01 --damage torn=0.001 --damage cut",
}
"""So long that more than 50,000 events come about: compiled code reads them."""

OF_A_SET: Final = {
    "simulate": "simulate {set} -o {to}/run.csv.gz --seed 7 --until 100ms --truth {to}/truth"
    " --damage loss=0.02 --damage late=0.02 --damage torn=0.002 --damage noise=0.002",
    "schedule_set": "schedule {set} --json {to}/schedule.json",
}
_RUN: Final = "simulate sets/knitting_{build}.toml -o said/several/runs/{seed}.csv --until 120ms"
_RUNS: Final = [f"said/several/runs/{seed}.csv" for seed in range(10)]
OF_SEVERAL: Final = {
    "compare": "compare logs/knitting_inversion.csv logs/knitting_mended.csv"
    " --json {to}/compare.json --markdown {to}/compare.md",
    "compare_groups": f"compare {' '.join(_RUNS[:6])} --new {' '.join(_RUNS[6:])}"
    " --json {to}/compare.json",
    "compare_random": "compare logs/random_3.csv logs/random_8.csv --json {to}/compare.json",
    "history_add": f"history add said/several/history {' '.join(_RUNS)}",
    "history_show": "history show said/several/history --json {to}/history.json",
    "history_trend": "history trend said/several/history --json {to}/trend.json"
    " --markdown {to}/trend.md",
    "with_currents": "report logs/knitting_asleep.csv --system sets/knitting_asleep.toml"
    " --json {to}/report.json --html {to}/report.html --tables {to}/tables",
    "fewer_wakes": "whatif logs/knitting_asleep.csv --system sets/knitting_asleep.toml"
    " --period panel=200ms --json {to}/whatif.json",
    "batch": "batch logs/knitting_[imt]*.csv logs/random_*.csv bad_logs -o {to}/results"
    " --html-reports",
}
OF_A_COURSE: Final = {
    "make": "exercise make said/{kind}/sheet --kind {kind} --seed 7",
    "mark": "exercise check said/{kind}/sheet/answers.toml",
}


def lay_out(folder: Path) -> None:
    """The samples, the bad logs of the tests and random logs, as files below `folder`."""
    logs, sets = folder / "logs", folder / "sets"
    logs.mkdir(parents=True)
    sets.mkdir()
    for place in (SAMPLES, SAMPLES / "classroom"):
        for file in sorted(place.iterdir()):
            if file.suffix in (".csv", ".toml"):
                shutil.copy(file, logs if file.suffix == ".csv" else sets)
    for name, (seed, events, cores, messy) in RANDOM.items():
        text = random_log(seed, events=events, cores=cores, messy=messy)
        (logs / f"{name}.csv").write_text(text, encoding="utf-8", newline="")
    whole = (logs / "knitting_bad_capture.csv").read_bytes()
    (logs / "torn.csv.gz").write_bytes(gzip.compress(whole, mtime=0)[:-2000])
    shutil.copytree(ROOT / "tests" / "bad_logs", folder / "bad_logs")


def asked_quickly() -> Iterator[Asked]:
    """What takes seconds in all."""
    for name in QUICK:
        some = {key: OF_A_LOG[key] for key in QUICKLY}
        yield from _asked(name, some, log=f"logs/{name}.csv")


def asked_of_logs(folder: Path) -> Iterator[Asked]:
    """What is asked of each log that is laid out."""
    for file in sorted((folder / "logs").iterdir()):
        yield from _asked(file.name.partition(".")[0], OF_A_LOG, log=f"logs/{file.name}")


def asked_of_all(folder: Path) -> Iterator[Asked]:
    """Everything."""
    yield from asked_of_logs(folder)
    yield from asked_of_several()
    for kind in KINDS:
        yield from _asked(kind, OF_A_COURSE, kind=kind)
    for file in sorted((folder / "sets").iterdir()):
        if file.stem != "knitting_budgets":
            yield from _asked(f"{file.stem}_set", OF_A_SET, set=f"sets/{file.name}")
    for name, made in LARGE.items():
        yield from _asked(name, {"run": made})
        some = {key: OF_A_LOG[key] for key in ("suggest", *OF_A_LARGE_LOG)}
        yield from _asked(name, some, log=f"said/{name}/run/run.csv")


def asked_of_several() -> Iterator[Asked]:
    """What is asked of several runs at once, and how they come about."""
    for seed in range(len(_RUNS)):
        build = "inversion" if seed < 6 else "mended"
        yield "several/runs", f"{_RUN.format(build=build, seed=seed)} --seed {seed}"
    yield from _asked("several", OF_SEVERAL)


def _asked(subject: str, commands: dict[str, str], **given: str) -> Iterator[Asked]:
    for name, command in commands.items():
        yield f"{subject}/{name}", command.format(to=f"said/{subject}/{name}", **given)
