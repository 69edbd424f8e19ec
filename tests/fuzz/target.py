"""What a target is: a function of bytes, where to begin, and the words of what it reads."""

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Target:
    """A reader of outside input.

    `run` takes any bytes; it raises nothing but `TraceLensError`, and that it catches itself where
    the property goes on after it. `seeds` gives inputs that lead deep. `words` are pieces of its
    grammar, whole lines among them, that chance would not find. With `text` an input is
    changed line by line and word by word as well as byte by byte.
    """

    run: Callable[[bytes], None]
    seeds: Callable[[], list[bytes]]
    words: tuple[bytes, ...] = ()
    text: bool = True
