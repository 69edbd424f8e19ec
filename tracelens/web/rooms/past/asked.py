"""What the address of the room asks for: which measure, of which runs, over what."""

from dataclasses import dataclass, replace
from typing import Any, Final
from urllib.parse import parse_qs, urlencode

from tracelens.drawing.course import By
from tracelens.web.rooms.nav import HISTORY
from tracelens.web.rooms.past.folder import Look, Where

LONGEST: Final = 4000
"""Characters of an address that are looked at."""


@dataclass(frozen=True, slots=True)
class Asked:
    """`measure` of `subject`, '' for the surest change; only runs that have `where`.

    Of those the newest `last`; None for all.
    """

    measure: str = ""
    subject: str = ""
    where: Where = ()
    by: By = "order"
    last: int | None = None

    def link(self, **changes: Any) -> str:
        """The address of this, with some of it changed."""
        asked = replace(self, **changes)
        named = [("measure", asked.measure), ("of", asked.subject)] if asked.measure else []
        pairs = [*named, *(("where", f"{key}={value}") for key, value in asked.where)]
        pairs += [("last", str(asked.last))] if asked.last is not None else []
        pairs += [("by", asked.by)] if asked.by != "order" else []
        return f"{HISTORY}?{urlencode(pairs)}" if pairs else HISTORY

    def only(self, key: str, value: str | None) -> str:
        """The address with another value of one key; None for any."""
        rest = tuple(pair for pair in self.where if pair[0] != key)
        return self.link(where=rest if value is None else (*rest, (key, value)))

    def chosen(self, look: Look) -> dict[str, Any]:
        """The row of `TRENDS` that is asked for; the first where there is none such."""
        rows = look.found.to_dicts()
        wanted = (self.measure, self.subject)
        return next((row for row in rows if (row["measure"], row["subject"]) == wanted), rows[0])


def asked(search: str | None) -> Asked:
    """What an address says; what makes no sense in it is left out."""
    query = parse_qs((search or "").removeprefix("?")[:LONGEST])
    pairs = {
        key: value
        for key, equals, value in (text.partition("=") for text in query.get("where", ()))
        if key and equals
    }
    by: By = "time" if query.get("by") == ["time"] else "order"
    first = {name: query.get(name, [""])[0] for name in ("measure", "of", "last")}
    last = first["last"]
    newest = int(last) if last.isascii() and last.isdigit() and int(last[:9]) > 0 else None
    return Asked(first["measure"], first["of"], tuple(sorted(pairs.items())), by, newest)
