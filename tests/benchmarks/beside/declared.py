"""What the head of a log declares, for the ways written by hand: `#word key=value ...`."""

import itertools
import shlex
from dataclasses import dataclass, field
from pathlib import Path


@dataclass
class Declared:
    hz: int = 0
    names: dict[str, str] = field(default_factory=dict)
    idle: set[str] = field(default_factory=set)
    queues: set[str] = field(default_factory=set)
    activation: dict[str, str] = field(default_factory=dict)
    deadline_ns: dict[str, int] = field(default_factory=dict)


def read_declared(path: Path) -> Declared:
    found = Declared()
    with path.open() as file:
        for line in itertools.takewhile(lambda line: line.startswith("#"), file):
            word, *pairs = shlex.split(line[1:])
            keys = dict(pair.split("=", 1) for pair in pairs if "=" in pair)
            if word == "clock":
                found.hz = int(keys["hz"])
            elif word in ("task", "isr"):
                found.names[keys["id"]] = keys["name"]
            elif word == "queue":
                found.queues.add(keys["id"])
            if word == "task" and keys.get("idle") == "yes":
                found.idle.add(keys["id"])
            elif word == "task":
                found.activation[keys["id"]] = keys["activation"]
                found.deadline_ns[keys["id"]] = int(keys["deadline_us"]) * 1000
    return found
