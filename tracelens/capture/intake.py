"""What a target sends, binary or text, as lines of an event log."""

from dataclasses import dataclass, field
from typing import Final, Protocol

from tracelens.probe.frames import take_apart
from tracelens.probe.stream import Counters, Stream

_DECIDED_BY: Final = 1 << 14
"""Bytes after which an undecided stream counts as text: noise, then, which the reader counts."""


class Intake(Protocol):
    """Takes pieces as they come and gives whole lines."""

    @property
    def counters(self) -> Counters:
        """What came so far."""
        ...

    def feed(self, piece: bytes) -> bytes:
        """The lines that this piece completes."""
        ...

    def end(self) -> bytes:
        """What was held back."""
        ...

    def gap(self) -> None:
        """The channel was away: what came meanwhile is missing."""
        ...


@dataclass(slots=True)
class Text:
    """Lines as the target prints them, kept as they are: the reader knows what damage is."""

    counters: Counters = field(default_factory=Counters)
    _rest: bytes = b""
    _cores: set[bytes] = field(default_factory=set)
    _gap: bool = False

    def feed(self, piece: bytes) -> bytes:
        """Whole lines; the last one waits for its end."""
        lines, feed, self._rest = (self._rest + piece).rpartition(b"\n")
        whole = lines + feed
        at = 0
        for line in lines.split(b"\n"):  # one pass: a piece of a live stream
            if line[:1].isdigit() and line.count(b",") == 4:
                time, core, event, _, count = line.split(b",")
                self._cores.add(core)
                if self._gap and time.isdigit():
                    whole = whole[:at] + self._lost(time) + whole[at:]
                    self._gap = False
                if event == b"lost":
                    self.counters.lost += int(count) if count.strip().isdigit() else 0
                else:
                    self.counters.events += 1
            at += len(line) + 1
        return whole

    def gap(self) -> None:
        """Events are missing on every core, nobody knows how many: at least one, says the log."""
        self._gap = bool(self._cores)

    def _lost(self, time: bytes) -> bytes:
        self.counters.lost += len(self._cores)
        return b"".join(b"%b,%b,lost,,1\n" % (time, core) for core in sorted(self._cores))

    def end(self) -> bytes:
        """The last line, torn or not: nothing that came is thrown away."""
        rest, self._rest = self._rest, b""
        return rest + b"\n" if rest else b""


@dataclass(slots=True)
class Unknown:
    """Not known yet which of the two it is: holds what comes until that shows."""

    counters: Counters = field(default_factory=Counters)
    chosen: Intake | None = None
    _held: bytes = b""

    def feed(self, piece: bytes) -> bytes:
        """Nothing until it is clear, then all that came."""
        if self.chosen is not None:
            return self.chosen.feed(piece)
        self._held += piece
        frames = take_apart(self._held)
        if len(frames.place) or frames.texts:
            self.chosen = Stream(self.counters)
        elif _is_text(self._held) or len(self._held) >= _DECIDED_BY:
            self.chosen = Text(self.counters)
        if self.chosen is None:
            return b""
        held, self._held = self._held, b""
        return self.chosen.feed(held)

    def end(self) -> bytes:
        """What was held back."""
        if self.chosen is None:
            self.chosen = Text(self.counters)
            return self.chosen.feed(self._held) + self.chosen.end()
        return self.chosen.end()

    def gap(self) -> None:
        """The channel was away."""
        if self.chosen is not None:
            self.chosen.gap()


def _is_text(data: bytes) -> bool:
    """Whether a whole line that only text has stands in it."""
    lines = data.split(b"\n")[1:-1] if not data.startswith(b"#tracelens") else data.split(b"\n")[:1]
    return any(line and all(32 <= octet < 127 or octet in b"\t\r" for octet in line)
               for line in lines)  # fmt: skip
