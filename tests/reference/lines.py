"""Reads the text of an event log: declarations, events as written, and lines of no use.

Nothing here knows about time or about what an event means; see `axis` and `replay` for that.
"""

import re
from collections import defaultdict
from dataclasses import dataclass, field

HEADER = "time,core,event,subject,value"
NO_TASK = "-"

WORDS_ABOUT_TASKS = [
    "activate",
    "start",
    "preempt",
    "wait",
    "release",
    "terminate",
    "suspend",
    "arrive",
    "finish",
    "request",
    "lock",
    "unlock",
    "priority",
    "stack",
]
WORDS_ABOUT_ISRS = ["enter", "leave", "pend"]
WORDS_ABOUT_LOCKS = ["request", "lock", "unlock"]
WORDS_ABOUT_QUEUES = ["send", "receive"]
WORDS_ABOUT_CORES = ["mask", "unmask", "sleep", "wake", "mark", "lost"]
WORDS = frozenset(WORDS_ABOUT_TASKS + WORDS_ABOUT_ISRS + WORDS_ABOUT_QUEUES + WORDS_ABOUT_CORES)
WORDS_WITH_NUMBER = frozenset(("priority", "stack"))
VALUE_IS_A_THING = frozenset(("wait", "release", "request", "lock", "unlock", "send", "receive"))

_TOKEN = re.compile(r'([A-Za-z_][A-Za-z_0-9]*)=(?:"([^"]*)"|(\S*))')


class NotALogError(ValueError):
    """The text cannot be read as an event log at all."""


@dataclass
class Clock:
    hz: int
    bits: int = 64
    late_us: int = 10_000


@dataclass
class Task:
    name: str
    priority: int | None = None
    period_ns: int | None = None
    offset_ns: int | None = None
    deadline_ns: int | None = None
    stack_bytes: int | None = None
    activation: str | None = None
    core: int | None = None
    idle_declared: bool | None = None

    @property
    def idle(self) -> bool:
        """Idle tasks: `idle=yes`, else a name that begins with 'idle' in any case."""
        if self.idle_declared is not None:
            return self.idle_declared
        return self.name.lower().startswith("idle")


@dataclass
class Lock:
    name: str
    protocol: str | None = None
    ceiling: int | None = None


@dataclass
class Queue:
    name: str
    depth: int | None = None


@dataclass
class Line:
    """One event as written, but with names for ids. `boot_mark` counts repeated headers."""

    number: int
    ticks: int
    core: int
    word: str
    subject: str
    value: str
    boot_mark: int


@dataclass
class Text:
    """A log as read. Everything is keyed by name, never by id."""

    lines: list[Line] = field(default_factory=list)
    clock: Clock | None = None
    core_clocks: dict[int, Clock] = field(default_factory=dict)
    higher_first: bool = True
    policy: str = "fixed"
    tasks: dict[str, Task] = field(default_factory=dict)
    isrs: set[str] = field(default_factory=set)
    locks: dict[str, Lock] = field(default_factory=dict)
    queues: dict[str, Queue] = field(default_factory=dict)
    cores: dict[int, str] = field(default_factory=dict)
    unused: dict[str, list[int]] = field(default_factory=lambda: defaultdict(list))


def _tokens(line: str) -> tuple[str, dict[str, str]]:
    head, _, rest = line[1:].partition(" ")
    return head, {key: quoted or bare for key, quoted, bare in _TOKEN.findall(rest)}


def _ns(us: str | None) -> int | None:
    """Microseconds as written, in nanoseconds, to the nearest."""
    if us is None:
        return None
    whole, _, fraction = us.partition(".")
    digits = (fraction + "0000")[:4]
    return int(whole or "0") * 1000 + (int(digits) + 5) // 10


def _int(text: str | None) -> int | None:
    return None if text is None else int(text)


class _Names:
    """Which name an id means on a line: the last declaration above it, else the first below."""

    def __init__(self) -> None:
        self.declared: dict[str, list[tuple[int, str]]] = defaultdict(list)

    def declare(self, number: int, ident: str, name: str) -> None:
        self.declared[ident].append((number, name))

    def name(self, number: int, token: str) -> str:
        if token not in self.declared:
            return token
        above = [name for line, name in self.declared[token] if line <= number]
        return above[-1] if above else self.declared[token][0][1]


def read(text: str) -> Text:
    """Read the whole text of one log."""
    rows = text.split("\n")
    names = _Names()
    out = Text()
    _read_declarations(rows, names, out)
    if out.clock is None:
        raise NotALogError("the log has no '#clock' line")
    _read_events(rows, names, out)
    return out


def _read_declarations(rows: list[str], names: _Names, out: Text) -> None:
    activations: dict[str, tuple[int, str]] = {}
    for number, row in enumerate(rows, start=1):
        if not row.startswith("#"):
            continue
        head, keys = _tokens(row.rstrip("\r"))
        ident = keys.get("id", keys.get("name", ""))
        name = keys.get("name", ident)
        if head in ("task", "isr", "lock", "queue"):
            names.declare(number, ident, name)
        if head == "clock":
            clock = Clock(
                int(keys["hz"]), int(keys.get("bits", 64)), int(keys.get("late_us", 10_000))
            )
            if "core" in keys:
                out.core_clocks[int(keys["core"])] = clock
            else:
                out.clock = clock
        elif head == "priority":
            out.higher_first = keys["order"] == "higher_first"
        elif head == "policy":
            out.policy = keys["name"]
        elif head == "core":
            out.cores[int(keys["id"])] = keys.get("name", keys["id"])
        elif head == "isr":
            out.isrs.add(name)
        elif head == "queue":
            queue = out.queues.setdefault(name, Queue(name))
            queue.depth = _int(keys.get("depth")) or queue.depth
        elif head == "lock":
            lock = out.locks.setdefault(name, Lock(name))
            lock.protocol = keys.get("protocol", lock.protocol)
            if "ceiling" in keys:
                lock.ceiling = int(keys["ceiling"])
        elif head == "task":
            task = out.tasks.setdefault(name, Task(name))
            for key in ("priority", "stack_bytes", "core"):
                if key in keys:
                    setattr(task, key, int(keys[key]))
            for key in ("period", "offset", "deadline"):
                if f"{key}_us" in keys:
                    setattr(task, f"{key}_ns", _ns(keys[f"{key}_us"]))
            if "idle" in keys:
                task.idle_declared = keys["idle"] == "yes"
            if "activation" in keys:
                activations[name] = (number, keys["activation"])
    for task_name, (number, ident) in activations.items():
        out.tasks[task_name].activation = names.name(number, ident)


def _read_events(rows: list[str], names: _Names, out: Text) -> None:
    boot_mark = 0
    events_since_header = False
    header_seen = False
    for number, row in enumerate(rows, start=1):
        row = row.rstrip("\r")
        if not row or row.startswith("#"):
            continue
        if row == HEADER:
            if header_seen and events_since_header:
                boot_mark += 1
            header_seen, events_since_header = True, False
            continue
        cells = row.split(",")
        if len(cells) != 5:
            out.unused["not five columns"].append(number)
            continue
        ticks, core, word, subject, value = cells
        if not ticks.isascii() or not ticks.isdigit() or not core.isascii() or not core.isdigit():
            out.unused["time or core is not a number"].append(number)
            continue
        if word not in WORDS:
            out.unused["unknown event"].append(number)
            continue
        if word in WORDS_WITH_NUMBER and not re.fullmatch(r"-?\d+", value):
            out.unused["value is not a number"].append(number)
            continue
        if word in WORDS_ABOUT_TASKS + WORDS_ABOUT_ISRS + WORDS_ABOUT_QUEUES:
            if not subject:
                out.unused["no subject"].append(number)
                continue
            subject = names.name(number, subject)
        elif word in ("mask", "unmask"):
            subject = names.name(number, subject)
        if word in VALUE_IS_A_THING and value:
            value = names.name(number, value)
        if word in WORDS_ABOUT_LOCKS + WORDS_ABOUT_QUEUES and not value:
            out.unused["no value"].append(number)
            continue
        events_since_header = True
        out.lines.append(Line(number, int(ticks), int(core), word, subject, value, boot_mark))
    _things_that_only_events_name(out)


def _things_that_only_events_name(out: Text) -> None:
    for line in out.lines:
        out.cores.setdefault(line.core, str(line.core))
        if line.word in WORDS_ABOUT_ISRS:
            out.isrs.add(line.subject)
    for line in out.lines:
        if line.word in WORDS_ABOUT_LOCKS:
            out.locks.setdefault(line.value, Lock(line.value))
        elif line.word in WORDS_ABOUT_QUEUES:
            out.queues.setdefault(line.value, Queue(line.value))
        named = line.word in WORDS_ABOUT_TASKS + WORDS_ABOUT_QUEUES
        if named and line.subject != NO_TASK and line.subject not in out.isrs:
            out.tasks.setdefault(line.subject, Task(line.subject))
