"""What a stream of events shows while it comes: the load of each core, late jobs, marks.

For the eye of whoever waits, and for the conditions that end a capture. The report reads the log
anew and by its own rules; here a job begins at its first release, activation or arrival and ends at
finish, terminate or a wait for time.
"""

import re
from dataclasses import dataclass, field
from typing import Final

_PAIR: Final = re.compile(r'(\w+)=(?:"([^"]*)"|(\S*))')
_BEGINS: Final = ("release", "activate", "arrive")
_ENDS: Final = ("finish", "terminate")


@dataclass(slots=True)
class Watch:
    """Takes the lines of a log as they are written.

    `marks`: words marked so far. `misses`: late jobs so far. `load`: of all cores together, 0 to 1,
    since it was last taken; None before two switches were seen.
    """

    marks: set[str] = field(default_factory=set)
    misses: int = 0
    _hz: int = 0
    _span: int = 1 << 32
    _deadlines: dict[str, int] = field(default_factory=dict)
    _idle: set[str] = field(default_factory=set)
    _open: dict[str, int] = field(default_factory=dict)
    _running: dict[str, tuple[str, int]] = field(default_factory=dict)
    _busy: int = 0
    _known: int = 0

    def see(self, lines: bytes) -> None:
        """Take in whole lines."""
        for line in lines.decode("utf-8", "replace").split("\n"):  # one pass: a live stream's piece
            if line.startswith("#"):
                self._declared(line[1:])
            elif line[:1].isdigit():
                self._event(line.rstrip("\r").split(","))

    def take_load(self) -> float | None:
        """The load since this was last asked."""
        load = self._busy / self._known if self._known else None
        self._busy = self._known = 0
        return load

    def _declared(self, line: str) -> None:
        word, _, rest = line.partition(" ")
        said = {match[1]: match[2] or match[3] for match in _PAIR.finditer(rest)}
        if word == "tracelens":
            self._open.clear()
            self._running.clear()
        elif word == "clock" and said.get("hz", "").isdigit():
            self._hz = int(said["hz"])
            self._span = 1 << int(said["bits"]) if said.get("bits", "").isdigit() else 1 << 64
        elif word == "task" and "id" in said:
            if said.get("idle") == "yes" or said.get("name", "").lower().startswith("idle"):
                self._idle.add(said["id"])
            deadline = said.get("deadline_us", "")
            if deadline.replace(".", "", 1).isdigit():
                self._deadlines[said["id"]] = round(float(deadline) * self._hz / 1e6)

    def _event(self, parts: list[str]) -> None:
        if len(parts) != 5 or not parts[0].isdigit():
            return
        time, (_, core, event, subject, value) = int(parts[0]), parts
        if event == "start":
            ran = self._running.get(core)
            if ran is not None:
                length = (time - ran[1]) % self._span
                if length < self._span // 2:
                    self._known += length
                    self._busy += length if ran[0] not in self._idle else 0
            self._running[core] = (subject, time)
        elif event == "mark":
            self.marks.add(subject)
        elif event == "lost":
            self._open.clear()
            self._running.clear()
        elif event in _BEGINS:
            if subject in self._deadlines:
                self._open.setdefault(subject, time)
        elif event in _ENDS or (event == "wait" and value == "delay"):
            begun = self._open.pop(subject, None)
            if begun is not None and (time - begun) % self._span > self._deadlines[subject]:
                self.misses += 1
