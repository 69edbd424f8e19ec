"""What bad capture does to a log, done to a good one, so that what is missing is known.

Each kind of damage is one that real targets and recorders show. Which lines it strikes is drawn
from the seed by numpy's Philox generator: the same log, damage and seed give the same bytes.
"""

import re
from dataclasses import dataclass
from typing import Final

import numpy as np

from tracelens.errors import UsageError
from tracelens.model.events import HEADER


@dataclass(frozen=True, slots=True)
class Damage:
    """How a capture goes wrong. Shares are of the log's event lines, from 0 to 1.

    loss        share of lines lost, in bursts of about `burst` lines
    burst       mean length of a burst (geometric)
    told        whether the recorder writes a line `lost` with the count after each burst
    late        share of lines written later than they happened, by up to `late_ticks`
    torn        share of lines cut short in the middle
    noise       share of lines followed by a line of binary noise
    crlf        lines end in CR LF
    bits        the counter has that many bits and wraps
    restarts    times that the target restarts: the header comes again, and time begins at 0
    cut         the last line is cut in the middle, as when the cable is pulled
    """

    loss: float = 0.0
    burst: int = 20
    told: bool = True
    late: float = 0.0
    late_ticks: int = 200
    torn: float = 0.0
    noise: float = 0.0
    crlf: bool = False
    bits: int | None = None
    restarts: int = 0
    cut: bool = False


@dataclass(frozen=True, slots=True)
class Damaged:
    """A damaged log, and what was done: numbers of event lines of the undamaged log, from 0."""

    log: bytes
    lost: tuple[int, ...]
    late: tuple[int, ...]
    torn: tuple[int, ...]
    restarted_at: tuple[int, ...]
    lost_events_told: int


_NOISE: Final = 12  # bytes of one burst of noise


def damage(log: bytes, how: Damage, seed: int = 0) -> Damaged:
    """Damage a log. `log` is a good one, uncompressed; raises `UsageError` if `how` makes no sense.

    The mark at the end is never lost or torn, so that the span stays what it was; `cut` takes it.
    """
    for name in ("loss", "late", "torn", "noise"):
        share = getattr(how, name)
        if not 0 <= share < 1:
            raise UsageError(f"damage {name}: found {share}, expected a share from 0 to below 1")
    head, _, body = log.decode().partition(HEADER + "\n")
    rows = body.splitlines()
    if len(rows) < 2:
        raise UsageError("nothing to damage: the log has no events")
    count = len(rows)
    inner = count - 1  # the last line stays
    _in_range(how, inner)
    declared_bits = _bits_of(head)
    times = _unwrapped([int(row.partition(",")[0]) for row in rows], declared_bits)
    bits = np.random.Philox(key=np.array([seed & (2**64 - 1), 0x0DA3A6E], np.uint64))
    draw = np.random.Generator(bits)
    lost = _bursts(draw, inner, how)
    late = np.zeros(count, bool)
    late[:inner] = draw.random(inner) < how.late
    late &= ~lost
    torn = np.zeros(count, bool)
    torn[:inner] = draw.random(inner) < how.torn
    torn &= ~lost & ~late
    noisy = draw.random(count) < how.noise
    boots = np.sort(draw.choice(np.arange(1, inner), how.restarts, replace=False))
    shown = _boot_times(times, boots)
    if how.bits is not None:
        head = _with_bits(head, how.bits)
    shown = np.mod(shown, 1 << min(62, how.bits or declared_bits))
    order = _order(draw, times, boots, late, how)
    lines = [*head.splitlines(), HEADER]
    told = 0
    pending: dict[str, int] = {}
    restarts = set(boots.tolist())
    seen_boots = 0
    for place in order:
        while (
            seen_boots < len(boots) and place >= boots[seen_boots] and boots[seen_boots] in restarts
        ):
            restarts.discard(int(boots[seen_boots]))
            seen_boots += 1
            pending.clear()
            lines += [*head.splitlines(), HEADER]
        _, core, rest = rows[place].split(",", 2)
        if lost[place]:
            pending[core] = pending.get(core, 0) + 1
            continue
        if pending:
            if how.told:
                for which, missing in sorted(pending.items()):
                    lines.append(f"{shown[place]},{which},lost,,{missing}")
                    told += missing
            pending.clear()
        line = f"{shown[place]},{core},{rest}"
        if torn[place]:
            line = line[: int(draw.integers(1, max(2, len(line.rstrip(",")) - 1)))]
        lines.append(line)
        if noisy[place]:
            lines.append(_noise(draw))
    end = "\r\n" if how.crlf else "\n"
    text = end.join([*lines, ""]).encode(errors="surrogateescape")
    if how.cut:
        text = text[: -max(4, len(lines[-1]) // 2)]
    return Damaged(
        log=text,
        lost=tuple(np.flatnonzero(lost).tolist()),
        late=tuple(np.flatnonzero(late).tolist()),
        torn=tuple(np.flatnonzero(torn).tolist()),
        restarted_at=tuple(boots.tolist()),
        lost_events_told=told,
    )


def _bits_of(head: str) -> int:
    """Width of the counter that the log declares; 64 if it declares none."""
    found = re.search(r"^#clock .*\bbits=(\d+)", head, re.MULTILINE)
    return int(found[1]) if found else 64


def _in_range(how: Damage, inner: int) -> None:
    """Raise `UsageError` for a whole number that no log of so many lines before its last allows."""
    ranges = {
        "bits": (8, 64),  # as a `#clock` may have
        "burst": (1, 1 << 31),
        "late_ticks": (0, 1 << 31),
        "restarts": (0, inner - 1),  # each before another line, none before the first
    }
    for name, (least, most) in ranges.items():
        number = getattr(how, name)
        if number is not None and not least <= number <= most:
            raise UsageError(
                f"damage {name}: found {number}, expected a whole number from {least} to {most}"
            )


def _unwrapped(shown: list[int], bits: int) -> np.ndarray:
    """Times that only go on: a step back in a good log is the counter's wrap."""
    steps = np.diff(np.array(shown, np.int64), prepend=shown[0])
    if bits < 63:
        steps = np.mod(steps, 1 << bits)
    return shown[0] + np.cumsum(steps)


def _bursts(draw: np.random.Generator, inner: int, how: Damage) -> np.ndarray:
    """Which lines are lost: bursts of geometric length, far enough apart to make up the share."""
    lost = np.zeros(inner + 1, bool)
    if how.loss == 0:
        return lost
    burst = max(1, how.burst)
    gap = burst * (1 - how.loss) / how.loss
    place = draw.geometric(min(1.0, 1 / gap))
    while place < inner:
        length = int(draw.geometric(1 / burst))
        lost[place : min(place + length, inner)] = True
        place += length + int(draw.geometric(min(1.0, 1 / gap)))
    return lost


def _boot_times(times: np.ndarray, boots: np.ndarray) -> np.ndarray:
    """Each boot's counter begins at 0 with its first event."""
    shown = times.copy()
    for place in boots.tolist():
        shown[place:] = times[place:] - times[place]
    return shown


def _order(
    draw: np.random.Generator,
    times: np.ndarray,
    boots: np.ndarray,
    late: np.ndarray,
    how: Damage,
) -> list[int]:
    """The order in which lines are written: a late one stands where its writing time belongs."""
    written = times.astype(np.float64)
    delays = draw.integers(1, max(2, how.late_ticks), len(times))
    written[late] += delays[late]
    boot = np.searchsorted(boots, np.arange(len(times)), side="right")
    order: list[int] = np.lexsort((np.arange(len(times)), written, boot)).tolist()
    if order[-1] != len(times) - 1:  # nothing is written after the mark at the end
        order.remove(len(times) - 1)
        order.append(len(times) - 1)
    return order


def _with_bits(head: str, bits: int) -> str:
    lines = []
    for line in head.splitlines():
        if line.startswith("#clock "):
            kept = [word for word in line.split() if not word.startswith("bits=")]
            line = " ".join([*kept, f"bits={bits}"])
        lines.append(line)
    return "\n".join([*lines, ""])


def _noise(draw: np.random.Generator) -> str:
    """Bytes that are no text, without a line end among them."""
    raw = bytes(byte for byte in draw.bytes(_NOISE) if byte not in b"\r\n#")
    return raw.decode(errors="surrogateescape")
