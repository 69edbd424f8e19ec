"""Frozen bundles that travel between the stages: a reconstructed run and its measures."""

from dataclasses import dataclass

import polars as pl

from tracelens.model.log import Log
from tracelens.model.system import System


@dataclass(frozen=True, slots=True)
class Timeline:
    """What happened: every table of `model.tables.RECONSTRUCTED`, and what they rest on.

    `system` is what holds after a system file overrode the log, with every thing that events
    name added, one record a name. The observed span is [0, span_ns). `higher_first` is already
    applied to nothing here: priorities are as declared.
    """

    log: Log
    system: System
    span_ns: int
    lost_events: int
    task_states: pl.DataFrame
    occupancy: pl.DataFrame
    jobs: pl.DataFrame
    episodes: pl.DataFrame
    holds: pl.DataFrame
    lock_waits: pl.DataFrame
    inversions: pl.DataFrame
    third_parties: pl.DataFrame
    deadlocks: pl.DataFrame
    isr_runs: pl.DataFrame
    queue_levels: pl.DataFrame
    queue_items: pl.DataFrame
    masks: pl.DataFrame
    contradictions: pl.DataFrame
    repairs: pl.DataFrame


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing worth saying. `at_ns` is where in the log; `numbers` what the sentence rests on."""

    severity: str  # 'error', 'warning' or 'note'
    subject: str  # the task, core, lock, queue, chain or 'log' that it is about
    text: str
    at_ns: int | None
    kind: str  # which detector found it
    numbers: dict[str, float]


@dataclass(frozen=True, slots=True)
class Quality:
    """How far the log can be trusted. `coverage` is known core time / core time."""

    events: int
    lines: int
    boots: int
    lost_events: int
    contradictions: int
    repairs: int
    coverage: float


@dataclass(frozen=True, slots=True)
class Analysis:
    """The whole reading of a run: the timeline, every table of `MEASURED`, and the findings.

    `window` is the [start, end) in ns that the measures were taken over.
    """

    timeline: Timeline
    window: tuple[int, int]
    quality: Quality
    cores: pl.DataFrame
    tasks: pl.DataFrame
    isrs: pl.DataFrame
    locks: pl.DataFrame
    queues: pl.DataFrame
    chains: pl.DataFrame
    chain_instances: pl.DataFrame
    chain_ledgers: pl.DataFrame
    ledgers: pl.DataFrame
    phases: pl.DataFrame
    sleep: pl.DataFrame
    masked: pl.DataFrame
    power: pl.DataFrame
    charges: pl.DataFrame
    findings: tuple[Finding, ...]
