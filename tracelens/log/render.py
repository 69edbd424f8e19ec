"""The `#` lines that declare a system: the other way round of `declarations`."""

import re
from collections.abc import Mapping
from typing import Any

from tracelens.errors import LogError
from tracelens.log.keys import SETTINGS, THINGS, VERSION, Key
from tracelens.model.system import Place, System

_BLANK = re.compile(r"\s")
_UNSAYABLE = re.compile(r'["\x00-\x08\x0a-\x1f\x7f]')
_NO_KEY = re.compile(r'[\s="]|^$')

VERSION_LINE = f"#tracelens {VERSION}"


def render_declarations(declared: System) -> list[str]:
    """The `#` lines of a log, the version first, each thing with all that is known of it.

    An id that was declared again under another name has a line for each. Chains are not part of
    a log. Raises `LogError` for a value that the format cannot say.
    """
    return [*first_declarations(declared), *(line for _, line in later_declarations(declared))]


def first_declarations(declared: System) -> list[str]:
    """The lines that can stand at the top: all but those from an id on that is declared again."""
    lines = [VERSION_LINE]
    lines += [render_pairs("run", declared.run)] if declared.run else []
    lines += [_render("clock", SETTINGS["clock"], clock) for clock in declared.clocks]
    for word in ("priority", "policy"):
        line = _render(word, SETTINGS[word], declared)
        lines += [line] if "=" in line else []
    lines += [line for is_later, _, line in _things(declared) if not is_later]
    lines += [render_pairs("note", {"text": note}) for note in declared.notes]
    return lines + [text for _, text in declared.unknown]


def later_declarations(declared: System) -> list[tuple[Place | None, str]]:
    """The lines of ids declared again and of what follows those, with their places in the log."""
    return [(place, line) for is_later, place, line in _things(declared) if is_later]


def render_pairs(word: str, pairs: Mapping[str, str]) -> str:
    """`#word key=value …`, with quotes around a value that is empty or has a blank."""
    tokens = [f"#{word}"]
    for key, text in pairs.items():
        if _UNSAYABLE.search(text) or _NO_KEY.search(key):
            raise LogError(
                f"#{word} cannot be written: found {key}={text!r}, "
                "expected no quote and no control character",
                hint="choose another name or text",
            )
        tokens.append(f'{key}="{text}"' if not text or _BLANK.search(text) else f"{key}={text}")
    return " ".join(tokens)


def _things(declared: System) -> list[tuple[bool, Place | None, str]]:
    """(whether it cannot stand at the top, place, line) of each thing, kind by kind."""
    records: dict[str, tuple[Any, ...]] = {
        "core": declared.cores,
        "task": declared.tasks,
        "isr": declared.isrs,
        "lock": declared.locks,
        "queue": declared.queues,
    }
    found = []
    for word, (_, keys) in THINGS.items():
        seen: set[Any] = set()
        is_later = False
        for record in records[word]:
            is_later = is_later or record.id in seen
            found.append((is_later, record.line, _render(word, keys, record)))
            seen.add(record.id)
    return found


def _render(word: str, keys: Mapping[str, Key], record: Any) -> str:
    pairs = {}
    for name, key in keys.items():
        value = getattr(record, key.field)
        if value is not None and value != key.default:
            pairs[name] = key.render(value)
    return render_pairs(word, pairs)
