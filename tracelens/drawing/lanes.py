"""The lanes of the schedule, in the order in which they stand, and the tracks that fill them.

Prepared once a run; after that any window is answered by binary searches.
"""

from dataclasses import dataclass
from typing import Final, Literal

import polars as pl

from tracelens.drawing.levels import Levels
from tracelens.drawing.window import Track, codes
from tracelens.model.results import Analysis, Timeline

Kind = Literal["isr", "task", "core", "lock", "queue"]

CAPTIONS: Final = {
    "first": "kept on top",
    "isr": "interrupts",
    "task": "tasks, most urgent first",
    "core": "cores",
    "lock": "locks",
    "queue": "queues, items up to depth",
    "other": "tasks of unknown priority",
}
"""Heading of each group of lanes."""

DRAWN: Final[dict[Kind, tuple[str, ...]]] = {
    "isr": ("isr",),
    "task": ("execution", "blocked", "ready", "unknown"),
    "core": ("isr", "task", "switching", "unknown"),
    "lock": ("held", "wanted"),
    "queue": ("items", "unknown"),
}
"""The tracks of each kind of lane whose shares are stacked, from the baseline up."""

BUSY: Final[dict[Kind, str]] = {
    "isr": "isr",
    "task": "execution",
    "core": "task",
    "lock": "held",
    "queue": "items",
}
"""The state by which lanes of a kind are put in order of how busy they are."""


@dataclass(frozen=True, slots=True)
class Lane:
    """One line of the schedule. `key` finds the thing in the tracks of its kind.

    `group` is the heading under which it stands: its kind, 'other', or 'first'.
    """

    kind: Kind
    name: str
    key: int
    label: str
    group: str
    idle: bool = False


@dataclass(frozen=True, slots=True)
class Lanes:
    """All lanes, top to bottom, and kind → state → track."""

    lanes: tuple[Lane, ...]
    tracks: dict[Kind, dict[str, Track]]
    levels: Levels

    def track(self, lane: Lane, state: str) -> Track | None:
        """The track of one state of a lane, None where there is none to draw.

        An idle task's running stands for its execution; that it is always ready says nothing.
        """
        if lane.idle and state == "ready":
            return None
        if lane.idle and state == "execution":
            state = "running"
        return self.tracks[lane.kind].get(state)

    def happens(self, lane: Lane, start_ns: int, end_ns: int) -> bool:
        """Whether anything is drawn in a lane in [start_ns, end_ns); on a core always."""
        tracks = (self.track(lane, state) for state in DRAWN[lane.kind])
        return lane.kind == "core" or any(t.count(lane.key, start_ns, end_ns) for t in tracks if t)

    def busy_ns(self, lane: Lane) -> int:
        """The time for which a lane's first state lasts in the whole run: execution, held, …"""
        track = self.track(lane, BUSY[lane.kind])
        return int(track.spent.between(0, 2**62, lane.key)) if track else 0

    def of(self, kind: Kind) -> list[Lane]:
        """The lanes of one kind."""
        return [lane for lane in self.lanes if lane.kind == kind]


def prepare(analysis: Analysis) -> Lanes:
    """Lanes and tracks of a run: interrupts, tasks by priority, cores, locks, queues.

    Tasks of unknown priority, which on a large kernel are many and not the product's own, go last.
    """
    run = analysis.timeline
    tasks = _tasks(analysis)
    levels = Levels.of(run)
    return Lanes(
        lanes=(
            *_isrs(analysis),
            *(lane for lane in tasks if lane.group == "task"),
            *_cores(analysis),
            *_locks(run),
            *_queues(run, levels),
            *(lane for lane in tasks if lane.group == "other"),
        ),
        tracks={
            "isr": {"isr": Track.of(_together(run.isr_runs, "isr", "core"), "isr")},
            "task": _task_tracks(run),
            "core": _core_tracks(run),
            "lock": {
                "held": Track.of(run.holds, "lock"),
                "wanted": Track.of(
                    _together(
                        run.lock_waits.with_columns(pl.col("lock").cast(run.holds.schema["lock"])),
                        "lock",
                        "task",
                    ),
                    "lock",
                ),
            },
            "queue": {"items": levels.held, "unknown": levels.lost},
        },
        levels=levels,
    )


def _isrs(analysis: Analysis) -> list[Lane]:
    key = codes(analysis.timeline.isr_runs["isr"])
    return [
        Lane("isr", isr, key[isr], isr, "isr")
        for isr in analysis.isrs.sort("count", descending=True, maintain_order=True)["isr"]
        if isr in key
    ]


def _tasks(analysis: Analysis) -> list[Lane]:
    key = codes(analysis.timeline.task_states["task"])
    told = analysis.tasks.select("task", "priority", "idle")
    return [
        Lane(
            "task",
            task,
            key[task],
            label=task if priority is None else f"{task} · {priority}",
            group="other" if priority is None and not idle else "task",
            idle=idle,
        )
        for task, priority, idle in told.iter_rows()  # few rows: one a task
        if task in key
    ]


def _cores(analysis: Analysis) -> list[Lane]:
    return [
        Lane("core", name, core, f"core {name}" if name == str(core) else name, "core")
        for core, name in zip(analysis.cores["core"], analysis.cores["name"], strict=True)
    ]


def _locks(run: Timeline) -> list[Lane]:
    key = codes(run.holds["lock"])
    return [Lane("lock", lock, key[lock], lock, "lock") for lock in lock_names(run) if lock in key]


def _queues(run: Timeline, levels: Levels) -> list[Lane]:
    key = codes(run.queue_levels["queue"])
    names = dict.fromkeys(queue.name for queue in run.system.queues if queue.name in key)
    return [
        Lane("queue", name, key[name], f"{name} · {depth}" if depth else name, "queue")
        for name in names
        for depth in [levels.depth.get(key[name])]
        if key[name] in levels.full
    ]


def lock_names(run: Timeline) -> list[str]:
    """Every lock once, in order of declaration."""
    return list(dict.fromkeys(lock.name for lock in run.system.locks))


def _task_tracks(run: Timeline) -> dict[str, Track]:
    states = run.task_states
    locks = pl.Series(lock_names(run), dtype=states.schema["waits_for"])
    waits_for_lock = pl.col("waits_for").is_in(locks.implode()).fill_null(False)
    waiting = states.filter(pl.col("state") == "waiting")
    spinning = run.lock_waits.filter(pl.col("spun"))
    # Each column counts its names in its own way; a track is asked by the number of a task.
    executing = run.occupancy.filter(pl.col("occupant") == "task").with_columns(
        pl.col("who").cast(states.schema["task"])
    )
    return {
        "running": Track.of(states.filter(pl.col("state") == "running"), "task"),
        "ready": Track.of(states.filter(pl.col("state") == "ready"), "task"),
        "unknown": Track.of(states.filter(pl.col("state") == "unknown"), "task"),
        "blocked": Track.of(waiting.filter(waits_for_lock), "task"),
        "suspended": Track.of(waiting.filter(~waits_for_lock), "task"),
        "execution": Track.of(executing, "who"),
        "spinning": Track.of(spinning, "task"),
    }


def _core_tracks(run: Timeline) -> dict[str, Track]:
    return {
        occupant: Track.of(run.occupancy.filter(pl.col("occupant") == occupant), "core")
        for occupant in ("isr", "task", "switching", "asleep", "idle", "unknown")
    }


def _together(spans: pl.DataFrame, key: str, who: str) -> pl.DataFrame:
    """Spans of one `key` that overlap as one, with all of `who` that take part in it, as text."""
    ordered = spans.sort(pl.col(key).to_physical(), "start_ns").select(
        key,
        "start_ns",
        "end_ns",
        pl.col(who).cast(pl.String),
        reach=pl.col("end_ns").cum_max().shift(1).over(key),
    )
    alone = (pl.col("start_ns") >= pl.col("reach")).fill_null(True)
    if ordered.select(alone.all()).item():
        return ordered.drop("reach")
    return (
        ordered.with_columns(part=alone.cum_sum())
        .group_by(key, "part", maintain_order=True)
        .agg(
            pl.col("start_ns").min(),
            pl.col("end_ns").max(),
            pl.col(who).unique(maintain_order=True).str.join(", "),
        )
    )
