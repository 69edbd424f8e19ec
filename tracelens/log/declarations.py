"""The lines that begin with '#': from their text to a `System`.

    #task id=t1 name="needle select" priority=6 period_us=2000

Keys and declarations that the format does not know are kept. A declaration repeated adds to what
is known of the thing; an id under another name is another thing from that line on; a name that
was declared before is the same thing under a new id.
"""

import re
from collections import Counter
from typing import Any

from tracelens.errors import LogError
from tracelens.log import unused
from tracelens.log.keys import SETTINGS, THINGS, VERSION, Key
from tracelens.log.render import render_pairs
from tracelens.log.unused import Unused
from tracelens.model.system import MOST_NAMES, Clock, Place, System

# #task id=t1 …          #clock hz=1000000          #tracelens 1
_LINE = re.compile(r"#([a-z][a-z0-9_]*)(?:\s+(.*))?", re.DOTALL)
# id=t1        name="needle select"        note=""
_PAIR = re.compile(r'([^\s="]+)=(?:"([^"]*)"|([^\s"]*))(?:\s+|$)')
_JUNK = re.compile(r"(\S+)(?:\s+|$)")
_NO_WORD = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")

_MOST_SENTENCES = 20

_TAGS = {"clock": ("core",)}  # what says which one a line is about; else the id


class Declarations:
    """Collects what the `#` lines of all parts declare, in the order of the log."""

    def __init__(self, sources: tuple[str, ...], losses: Unused) -> None:
        self._sources = sources
        self._losses = losses
        self._things = {word: _Things(record) for word, (record, _) in THINGS.items()}
        self._clocks: dict[int | None, tuple[dict[str, Any], Place, str]] = {}
        self._settings: dict[str, Any] = {}
        self._run: dict[str, str] = {}
        self._run_changes: dict[str, tuple[Place, str, str]] = {}
        self._notes: list[str] = []
        self._unknown: list[tuple[Place, str]] = []
        self._surprises: dict[str, tuple[int, Place]] = {}
        self.known = False
        """Whether any line was one that only an event log has."""

    def add(self, place: Place, text: str) -> None:
        """Take in one line.

        Raises `LogError` for another version, a second, other clock, and for more names of a kind
        than `MOST_NAMES`.
        """
        match = _LINE.fullmatch(text.rstrip())
        if match is None or _NO_WORD.search(text):
            if text.rstrip() != "#" and not text.startswith(("# ", "#\t")):
                self._losses.add(unused.NO_DECLARATION, place[0], [place[1]])
            return
        word, rest = match[1], match[2] or ""
        if word == "tracelens":
            self._version(place, rest)
        elif word == "run":
            self.known = True
            self._about_the_run(place, self._pairs(place, rest))
        elif word in THINGS:
            self.known = True
            self._thing(place, word, self._pairs(place, rest))
        elif word in SETTINGS:
            self.known = True
            self._setting(place, word, self._pairs(place, rest), text.rstrip())
        else:
            self._keep(place, text.rstrip(), f"declaration #{word}")

    def system(self) -> System:
        """Everything declared so far."""
        clocks = sorted(self._clocks.items(), key=lambda item: -1 if item[0] is None else item[0])
        for _, (fields, place, line) in clocks:
            if "hz" not in fields:
                raise LogError(
                    f"#clock without a usable hz: found {line!r}, expected hz=, the ticks a second",
                    place=self._name(place),
                    hint="for example: #clock hz=1000000 bits=32",
                )
        return System(
            clocks=tuple(Clock(**fields) for _, (fields, *_) in clocks),
            order=self._settings.get("order"),
            policy=self._settings.get("policy", "fixed"),
            tasks=self._things["task"].records(),
            isrs=self._things["isr"].records(),
            locks=self._things["lock"].records(),
            queues=self._things["queue"].records(),
            cores=self._things["core"].records(),
            run=self._run,
            notes=tuple(self._notes),
            unknown=tuple(self._unknown),
        )

    def warnings(self) -> list[str]:
        """A sentence for each kind of declaration or key that is not known, or told differently."""
        unknown = [
            f"{self._name(place)}: the {what} is not known; it is kept, and nothing rests on it"
            + (f" ({count} lines)" if count > 1 else "")
            for what, (count, place) in self._surprises.items()
        ]
        changed = [
            f"{self._name(place)}: #run {key}={new} where the log said {key}={old} before: the "
            f"later one is kept; see that the parts are of one run"
            for key, (place, old, new) in self._run_changes.items()
        ]
        return [
            *_first(unknown, "keys and declarations are not known"),
            *_first(changed, "keys of #run have changed"),
        ]

    def _about_the_run(self, place: Place, pairs: dict[str, str]) -> None:
        for key, text in pairs.items():
            if self._run.get(key, text) != text:
                self._run_changes.setdefault(key, (place, self._run[key], text))
        self._run.update(pairs)
        self._bound(place, "keys of #run", len(self._run))

    def _version(self, place: Place, rest: str) -> None:
        if rest == VERSION:
            self.known = True
        elif rest.isdigit():
            raise LogError(
                f"another version of the event log: found {rest}, expected {VERSION}",
                place=self._name(place),
                hint="a newer tracelens may read it",
            )
        else:
            self._losses.add(unused.NO_DECLARATION, place[0], [place[1]])

    def _pairs(self, place: Place, rest: str) -> dict[str, str]:
        """The key=value tokens of a line; others are reported and skipped."""
        pairs, at = {}, 0
        while at < len(rest):
            match = _PAIR.match(rest, at)
            if match:
                pairs[match[1]] = match[2] if match[2] is not None else match[3]
                at = match.end()
            else:
                junk = _JUNK.match(rest, at)
                assert junk is not None  # `at` is where a token begins
                self._losses.add_found(unused.NO_PAIR, *place, junk[1], "")
                at = junk.end()
        return pairs

    def _fields(
        self, place: Place, word: str, keys: dict[str, Key], pairs: dict[str, str]
    ) -> dict[str, Any]:
        """The record's fields that the pairs of a line fill."""
        fields = {}
        unknown = []
        for name, text in pairs.items():
            key = keys.get(name)
            if key is None:
                unknown.append(name)
                continue
            try:
                fields[key.field] = key.parse(text)
            except ValueError as error:
                self._losses.add_found(unused.BAD_VALUE, *place, f"{name}={text}", str(error))
        tags = [
            tag for tag in _TAGS.get(word, ("id",)) if tag in keys and keys[tag].field in fields
        ]
        for name in unknown:
            line = render_pairs(word, {tag: pairs[tag] for tag in (*tags, name)})
            # Of a thing without a usable id the line is of no use, and counted as that.
            kept = tags or word not in THINGS
            self._keep(place, line if kept else None, f"key {name} of #{word}")
        return fields

    def _thing(self, place: Place, word: str, pairs: dict[str, str]) -> None:
        _, keys = THINGS[word]
        fields = self._fields(place, word, keys, pairs)
        if "id" in fields:
            thing, name = fields.pop("id"), fields.pop("name", None)
            self._things[word].declare(thing, name, fields, place)
            what = f"names of a {word} (or ids declared again)"
            self._bound(place, what, len(self._things[word]))
        elif "id" not in pairs:
            self._losses.add(unused.NO_ID, place[0], [place[1]])

    def _setting(self, place: Place, word: str, pairs: dict[str, str], line: str) -> None:
        fields = self._fields(place, word, SETTINGS[word], pairs)
        if word == "note":
            self._notes += [fields["text"]] if "text" in fields else []
            self._bound(place, "notes", len(self._notes))
        elif word == "clock":
            self._clock(place, fields, line)
        else:
            self._settings.update(fields)

    def _clock(self, place: Place, fields: dict[str, Any], line: str) -> None:
        known, first, _ = self._clocks.setdefault(fields.get("core"), ({}, place, line))
        for field, name in (("hz", "hz"), ("bits", "bits"), ("late_ns", "late_us")):
            if field in known and field in fields and known[field] != fields[field]:
                render = SETTINGS["clock"][name].render
                raise LogError(
                    f"#clock declared again: found {name}={render(fields[field])}, "
                    f"expected {name}={render(known[field])} as in line {first[1]}",
                    place=self._name(place),
                    hint="cut the log in two where the clock changes",
                )
        known.update(fields)

    def _keep(self, place: Place, text: str | None, what: str) -> None:
        if text is not None:
            self._unknown.append((place, text))
            self._bound(place, "keys and declarations that are not known", len(self._unknown))
        count, first = self._surprises.get(what, (0, place))
        self._surprises[what] = (count + 1, first)

    def _bound(self, place: Place, what: str, count: int) -> None:
        if count > MOST_NAMES:
            raise LogError(
                f"too many {what}: found {count}, expected at most {MOST_NAMES}",
                place=self._name(place),
                hint="declare what the events name, each once",
            )

    def _name(self, place: Place) -> str:
        return f"{self._sources[place[0]]}:{place[1]}"


def _first(sentences: list[str], of_what: str) -> list[str]:
    """The first sentences, and one that says how many more there are."""
    more = len(sentences) - _MOST_SENTENCES
    return sentences[:_MOST_SENTENCES] + ([f"{more} more {of_what}"] if more > 0 else [])


class _Things:
    """The things of one kind: what has been declared of each name, and which ids meant it when."""

    def __init__(self, record: type) -> None:
        self._record = record
        self._declared: list[tuple[Any, str, Place]] = []
        self._facts: dict[str, dict[str, Any]] = {}
        self._ids_of: Counter[str] = Counter()
        self._by_id: dict[Any, int] = {}
        self._unnamed: set[Any] = set()

    def declare(self, thing: Any, name: str | None, facts: dict[str, Any], place: Place) -> None:
        """`thing` is the id; without a name it means what it meant before, or names itself."""
        at = self._by_id.get(thing)
        if at is None:
            if name is None:
                self._unnamed.add(thing)
            self._append(thing, name or str(thing), place)
        elif name is not None and name != self._declared[at][1]:
            if thing in self._unnamed:
                self._rename(at, name)
            else:
                self._append(thing, name, place)
        if name is not None:
            self._unnamed.discard(thing)
        self._facts[self._declared[self._by_id[thing]][1]].update(facts)

    def _append(self, thing: Any, name: str, place: Place) -> None:
        self._by_id[thing] = len(self._declared)
        self._declared.append((thing, name, place))
        self._ids_of[name] += 1
        self._facts.setdefault(name, {})

    def _rename(self, at: int, name: str) -> None:
        thing, old, place = self._declared[at]
        self._declared[at] = (thing, name, place)
        facts = self._facts[old] if self._ids_of[old] > 1 else self._facts.pop(old)
        self._ids_of[old] -= 1
        self._ids_of[name] += 1
        self._facts.setdefault(name, {}).update(facts)

    def __len__(self) -> int:
        """How often an id was given a meaning."""
        return len(self._declared)

    def records(self) -> tuple[Any, ...]:
        """A record for each time that an id was given a meaning, in the order of the log."""
        return tuple(
            self._record(id=thing, name=name, line=place, **self._facts[name])
            for thing, name, place in self._declared
        )
