"""Text from a log made safe to show.

Names come from firmware and from files of any origin. A control character in one could move a
terminal's cursor or colour the rest of a report; a bidirectional override could show it in
another order than it is stored (Unicode Technical Report 36, section 'Bidirectional Text
Spoofing'). Both are written out instead.
"""

import unicodedata
from typing import Final

_WRITTEN_OUT: Final = {"Cc", "Cf", "Zl", "Zp", "Cs"}
"""Unicode general categories of characters that act instead of showing: control, format, line
and paragraph separators, lone surrogates."""


LONGEST: Final = 4000
"""Characters of a name or sentence that are shown: a name can be as long as a file."""


def plain(text: str) -> str:
    r"""`text` with every acting character written as its escape, such as `\x1b` or `\u202e`.

    What is longer than `LONGEST` ends there, with an ellipsis.
    """
    if len(text) <= LONGEST and text.isprintable():  # true of nearly every name, and fast
        return text
    begin = text[: LONGEST + 1]
    shown = "".join(_escape(c) if unicodedata.category(c) in _WRITTEN_OUT else c for c in begin)
    return shown if len(shown) <= LONGEST else shown[: LONGEST - 1] + "…"


def file_name(path: str) -> str:
    r"""A file's name as UTF-8 can hold it: a byte of it that is none is written as `\udcff`."""
    return path.encode("utf-8", "backslashreplace").decode("utf-8")


def _escape(character: str) -> str:
    code = ord(character)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"
