"""Changes of an input that keep its grammar in part: lines and words go, come and change places."""

import re
from collections.abc import Callable, Sequence
from random import Random

_PIECES = re.compile(rb"[A-Za-z_][A-Za-z_0-9]*|[0-9]+|[^A-Za-z_0-9]")
NUMBERS = tuple(
    str(n).encode()
    for n in (0, 1, 2, 7, 8, 9, 15, 16, 17, 31, 32, 33, 59, 60, 61, 63, 64, 65, 127, 128, 255, 256,
              999, 10**6, 10**9, 9 * 10**9, 2**31 - 1, 2**31, 2**32 - 1, 2**32, 10**18, 2**61,
              2**62, 2**63 - 1, 2**63, 2**64 - 1, 2**64, 10**30)
)  # fmt: skip

Line = bytes


def mutated(data: bytes, most: int, rng: Random, words: Sequence[bytes]) -> bytes:
    """`data` after one to five changes, at most `most` bytes."""
    lines = data.split(b"\n")
    for _ in range(rng.choice((1, 1, 2, 3, 5))):
        lines = rng.choice(_CHANGES)(lines, rng, words) or [b""]
    return b"\n".join(lines)[:most]


def crossed(one: bytes, other: bytes, most: int, rng: Random) -> bytes:
    """Lines of one, then lines of the other."""
    a, b = one.split(b"\n"), other.split(b"\n")
    at, to = rng.randrange(len(a) + 1), rng.randrange(len(b) + 1)
    end = rng.randrange(to, len(b) + 1)
    return b"\n".join((*a[:at], *b[to:end], *a[at:]))[:most]


def _double(lines: list[Line], rng: Random, _words: Sequence[bytes]) -> list[Line]:
    at = rng.randrange(len(lines))
    length = rng.choice((1, 1, 2, 5))
    return [*lines[: at + length], *lines[at : at + length] * rng.choice((1, 1, 3)),
            *lines[at + length :]]  # fmt: skip


def _lose(lines: list[Line], rng: Random, _words: Sequence[bytes]) -> list[Line]:
    at = rng.randrange(len(lines))
    return [*lines[:at], *lines[at + rng.choice((1, 1, 1, 2, 8)) :]]


def _swap(lines: list[Line], rng: Random, _words: Sequence[bytes]) -> list[Line]:
    a = rng.randrange(len(lines))
    b = min(len(lines) - 1, a + rng.choice((1, 1, 2, 5)))
    lines = list(lines)
    lines[a], lines[b] = lines[b], lines[a]
    return lines


def _insert(lines: list[Line], rng: Random, words: Sequence[bytes]) -> list[Line]:
    at = rng.randrange(len(lines) + 1)
    return [*lines[:at], rng.choice(words) if words else b"", *lines[at:]]


def _in_line(change: Callable[[Line, list[Line], Random, Sequence[bytes]], Line]) -> Callable:
    def make(lines: list[Line], rng: Random, words: Sequence[bytes]) -> list[Line]:
        at = rng.randrange(len(lines))
        return [*lines[:at], change(lines[at], lines, rng, words), *lines[at + 1 :]]

    return make


def _piece(line: Line, lines: list[Line], rng: Random, words: Sequence[bytes]) -> Line:
    """A word or number in place of another; often one that stands in the input elsewhere."""
    pieces = _PIECES.findall(line)
    if not pieces:
        return rng.choice(words) if words else line
    at = rng.randrange(len(pieces))
    choice = rng.random()
    if choice < 0.45:
        theirs = _PIECES.findall(rng.choice(lines)) or [b""]
        pieces[at] = rng.choice(theirs)
    elif choice < 0.7 and words:
        pieces[at] = rng.choice(_PIECES.findall(rng.choice(words)) or [b""])
    elif choice < 0.85:
        pieces[at] = b""
    else:
        pieces[at] = bytes([rng.randrange(256)])
    return b"".join(pieces)


def _number(line: Line, _lines: list[Line], rng: Random, _words: Sequence[bytes]) -> Line:
    found = list(re.finditer(rb"[0-9]{1,30}", line))
    if not found:
        return line
    here = rng.choice(found)
    value = int(here[0])
    told = rng.choice(NUMBERS)
    if rng.random() < 0.6:
        told = str(abs(value + rng.choice((-1, 1, -value // 2, value, 1000, 65536)))).encode()
    return line[: here.start()] + told + line[here.end() :]


def _field(line: Line, lines: list[Line], rng: Random, _words: Sequence[bytes]) -> Line:
    """A field between commas in place of the same field of another line."""
    mine, theirs = line.split(b","), rng.choice(lines).split(b",")
    at = rng.randrange(min(len(mine), len(theirs)))
    mine[at] = theirs[at]
    return b",".join(mine)


_CHANGES = (
    _double,
    _lose,
    _swap,
    _insert,
    _in_line(_piece),
    _in_line(_piece),
    _in_line(_number),
    _in_line(_number),
    _in_line(_field),
    _in_line(_field),
)
