"""The commands that are run, and the logs that they are run on.

All paths are relative to one directory: what is said must not tell where that lies.
"""

import gzip
import shutil
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from tests.random_logs import random_log
from tracelens.exercises.kinds import KINDS

ROOT: Final = Path(__file__).parents[2]
SAMPLES: Final = ROOT / "sample_traces"
LOGS: Final = Path("logs")
SETS: Final = Path("sets")
BUDGETS: Final = SETS / "knitting_budgets.toml"

Command = tuple[str, ...]

RANDOM: Final = {  # seed, events, cores, damaged
    "random_1": (1, 400, 1, False),
    "random_2": (2, 400, 2, False),
    "random_3": (3, 900, 2, True),
    "random_5": (5, 900, 1, True),
    "random_8": (8, 900, 2, True),
    "random_13": (13, 400, 1, True),
}
QUICK: Final = (
    "knitting_inversion",
    "knitting_bad_capture",
    "knitting_two_cores",
    "random_3",
    "random_8",
)
"""Logs of which the quick test makes do: locks, damage, two cores."""

LARGE: Final = {
    "large": ("knitting_healthy", "10s", ()),
    "large_torn": ("knitting_two_cores", "9s", ("loss=0.005", "late=0.01", "torn=0.001", "cut")),
}
"""Simulated for so long that more than 50,000 events come about, which compiled code reads."""


def lay_out(folder: Path) -> None:
    """The samples, the bad logs of the tests and random logs, as files below `folder`."""
    logs, sets = folder / LOGS, folder / SETS
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


def names(folder: Path) -> list[str]:
    """The logs laid out, without what follows a name's first dot."""
    return sorted({file.name.partition(".")[0] for file in (folder / LOGS).iterdir()})


def _log(name: str) -> str:
    return str(LOGS / (f"{name}.csv.gz" if name == "torn" else f"{name}.csv"))


def of_a_log(name: str) -> dict[str, Command]:
    """What a log is asked, under names of directories: there the answer's files come to lie."""
    log, to = _log(name), f"said/{name}"
    files = [
        part
        for option, file in (
            ("--json", "report.json"),
            ("--markdown", "report.md"),
            ("--html", "report.html"),
        )
        for part in (option, f"{to}/report/{file}")
    ]
    budgets = ("check", log, "--budgets", str(BUDGETS), "--today", "2026-03-02")
    verdicts = [
        part
        for option, file in (
            ("--json", "check.json"),
            ("--markdown", "check.md"),
            ("--junit", "check.xml"),
            ("--annotations", "check.txt"),
        )
        for part in (option, f"{to}/check/{file}")
    ]
    asked: dict[str, Command] = {
        "report": ("report", log, *files, "--tables", f"{to}/report/tables"),
        "window": ("report", log, "--from", "100us", "--to", "60ms"),
        "explain": ("explain", log, "--json", f"{to}/explain/explain.json"),
        "check": (*budgets, *verdicts),
        "suggest": ("check", "--suggest", log),
        "schedule": ("schedule", log, "--json", f"{to}/schedule/schedule.json"),
        "whatif": ("whatif", log, "--clock", "0.9", "-o", f"{to}/whatif/then.csv")
        + ("--json", f"{to}/whatif/whatif.json"),
        "search": ("whatif", log, "--search", "--json", f"{to}/search/search.json"),
        "cut": ("cut", log, "-o", f"{to}/cut/cut.csv"),
        "redact": ("cut", log, "-o", f"{to}/redact/cut.csv.gz", "--redact"),
    }
    for end in ("vcd", "parquet", "csv", "csv.zst"):
        asked[f"convert_{end}"] = ("convert", log, "-o", f"{to}/convert_{end}/then.{end}")
    return asked


def of_a_large_log(name: str) -> dict[str, Command]:
    """What is asked of a log that takes seconds to read."""
    every = of_a_log(name)
    return {key: every[key] for key in ("report", "explain", "check", "schedule", "convert_csv")}


def of_a_set(file: Path) -> dict[str, Command]:
    """What is asked of a task set."""
    to = f"said/{file.stem}"
    spoilt = [
        part
        for harm in ("loss=0.02", "late=0.02", "torn=0.002", "noise=0.002")
        for part in ("--damage", harm)
    ]
    return {
        "simulate": ("simulate", str(SETS / file.name), "-o", f"{to}/simulate/run.csv.gz")
        + ("--seed", "7", "--until", "100ms", "--truth", f"{to}/simulate/truth", *spoilt),
        "schedule_set": ("schedule", str(SETS / file.name))
        + ("--json", f"{to}/schedule_set/schedule.json"),
    }


def of_several() -> dict[str, Command]:
    """What is asked of several logs at once, in this order."""
    runs = [f"said/runs/run_{seed}.csv" for seed in range(10)]
    asked: dict[str, Command] = {}
    for seed, run in enumerate(runs):
        taskset = "knitting_inversion" if seed < 6 else "knitting_mended"
        asked[f"run_{seed}"] = ("simulate", str(SETS / f"{taskset}.toml"), "-o", run)
        asked[f"run_{seed}"] += ("--seed", str(seed), "--until", "120ms")
    two = (_log("knitting_inversion"), _log("knitting_mended"))
    told = ("--json", "said/compare/compare.json", "--markdown", "said/compare/compare.md")
    asked |= {
        "compare": ("compare", *two, *told),
        "compare_groups": ("compare", *runs[:6], "--new", *runs[6:])
        + ("--json", "said/compare_groups/compare.json"),
        "compare_random": ("compare", _log("random_3"), _log("random_8")),
        "history_add": ("history", "add", "said/history", *runs),
        "history_show": ("history", "show", "said/history")
        + ("--json", "said/history_show/history.json"),
        "history_trend": ("history", "trend", "said/history")
        + ("--json", "said/history_trend/trend.json")
        + ("--markdown", "said/history_trend/trend.md"),
        "batch": ("batch", "logs/knitting_[imt]*.csv", "logs/random_*.csv", "bad_logs")
        + ("-o", "said/batch/results", "--html-reports"),
    }
    for kind in KINDS:
        asked[f"exercise_{kind}"] = ("exercise", "make", f"said/exercise_{kind}/sheet")
        asked[f"exercise_{kind}"] += ("--kind", kind, "--seed", "7")
        asked[f"mark_{kind}"] = ("exercise", "check", f"said/exercise_{kind}/sheet/answers.toml")
    return asked


def all_asked(folder: Path, quick: bool) -> Iterable[tuple[str, Command]]:
    """(directory, command) of everything, in order."""
    for name in QUICK if quick else names(folder):
        yield from ((f"{name}/{key}", asked) for key, asked in of_a_log(name).items())
    if quick:
        return
    yield from of_several().items()
    for file in sorted((folder / SETS).iterdir()):
        if file.name != BUDGETS.name:
            yield from ((f"{file.stem}/{key}", asked) for key, asked in of_a_set(file).items())
    for name, (taskset, until, harms) in LARGE.items():
        spoilt = [part for harm in harms for part in ("--damage", harm)]
        made = ("simulate", str(SETS / f"{taskset}.toml"), "-o", _log(name), "--until", until)
        yield f"{name}/simulate", (*made, *spoilt)
        yield from ((f"{name}/{key}", asked) for key, asked in of_a_large_log(name).items())
