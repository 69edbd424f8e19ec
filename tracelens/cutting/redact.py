"""Neutral names in place of all that a log says: task_1, lock_1, mark_1."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

import polars as pl

from tracelens.model.events import NO_TASK
from tracelens.model.system import System
from tracelens.reconstruct.setup import is_idle

_OF_THE_FORMAT: Final = frozenset((NO_TASK, "delay", "activate", "irq", "sched", "begin", "end"))
_KINDS: Final = (("tasks", "task"), ("isrs", "isr"), ("locks", "lock"), ("queues", "queue"))
_OF_THINGS: Final = frozenset(("wait", "release", "request", "lock", "unlock", "send", "receive"))
_OF_CORES: Final = frozenset(("sleep", "wake", "lost"))


def redacted(declared: System, events: pl.DataFrame) -> tuple[System, pl.DataFrame, dict[str, str]]:
    """The declarations and events with neutral names, and which name became which.

    `declared` has a record of every task, handler, lock and queue that the events name. The same
    name becomes the same wherever it stands. Notes, the keys of the run, and what the format does
    not know are left out. Numbers stay.
    """
    neutral = _Neutral(declared)
    system = System(
        clocks=declared.clocks,
        order=declared.order,
        policy=declared.policy,
        tasks=tuple(
            replace(
                neutral.thing(task),
                idle=is_idle(task) or None,
                activation=task.activation and neutral.token(task.activation, "word"),
            )
            for task in declared.tasks
        ),
        isrs=tuple(neutral.thing(isr) for isr in declared.isrs),
        locks=tuple(neutral.thing(lock) for lock in declared.locks),
        queues=tuple(neutral.thing(queue) for queue in declared.queues),
        cores=tuple(replace(core, name=f"core_{core.id}") for core in declared.cores),
    )
    events = _mapped(events, "subject", neutral.subject)
    return system, _mapped(events, "value", neutral.value), neutral.names()


class _Neutral:
    """What stands for each name, id and word."""

    def __init__(self, declared: System) -> None:
        self._names: dict[str, str] = {}
        self._ids: dict[str, str] = {}
        self._words: dict[str, dict[str, str]] = {"word": {}, "mark": {}, "mode": {}}
        for kind, word in _KINDS:
            things = getattr(declared, kind)
            for number, name in enumerate(dict.fromkeys(thing.name for thing in things), 1):
                self._names.setdefault(name, f"{word}_{number}")
            for number, thing in enumerate(dict.fromkeys(thing.id for thing in things), 1):
                self._ids.setdefault(thing, f"{word[0]}{number}")

    def names(self) -> dict[str, str]:
        """Name, or word that tasks wait for → what it became."""
        return self._words["word"] | self._names

    def thing(self, thing: Any) -> Any:
        """A declared thing under another name and id."""
        return replace(thing, id=self._ids[thing.id], name=self._names[thing.name])

    def token(self, token: str, kind: str) -> str:
        """What stands for an id, or for a word of a kind."""
        if token in _OF_THE_FORMAT:
            return token
        return self._ids.get(token) or self._word(token, kind)

    def _word(self, word: str, kind: str) -> str:
        known = self._words[kind]
        return known.setdefault(word, f"{kind}_{len(known) + 1}")

    def subject(self, event: str, token: str) -> str:
        """The subject of such an event."""
        if event == "mark":
            return self._word(token, "mark")
        if event in _OF_CORES:
            return token if token.isdigit() else self._word(token, "mode")
        return self.token(token, "word")

    def value(self, event: str, token: str) -> str:
        """The value of such an event; a number means itself where it names nothing."""
        if event not in _OF_THINGS and token.lstrip("-").isdigit():
            return token
        return self.token(token, "word")


def _mapped(events: pl.DataFrame, column: str, becomes: Callable[[str, str], str]) -> pl.DataFrame:
    token = pl.col(column).cast(pl.String)
    pairs = events.select(pl.col("event").cast(pl.String), token).unique(maintain_order=True)
    there = pairs.drop_nulls()
    table = there.with_columns(
        becomes=pl.Series(
            [becomes(*pair) for pair in zip(there["event"], there[column], strict=True)],
            dtype=pl.String,
        )
    )
    mapped = events.select(pl.col("event").cast(pl.String), token).join(
        table, on=["event", column], how="left", maintain_order="left"
    )
    return events.with_columns(mapped["becomes"].cast(pl.Categorical).alias(column))
