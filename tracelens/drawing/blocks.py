"""Lanes drawn as exact blocks: start, length, state and reason of each at the pointer."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import polars as pl

from tracelens.drawing.edges import Edges
from tracelens.drawing.labels import LABEL_PX, Label, placed, trace
from tracelens.drawing.lanes import Kind
from tracelens.drawing.packing import inert, packed
from tracelens.drawing.palette import Palette
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Place
from tracelens.drawing.words import reason
from tracelens.numbers import count, duration, exact, moment
from tracelens.spans import LENGTH, meetings

MOST_EPISODES: Final = 5000
"""Episodes in a window beyond which no reasons are told: nobody could point at one of them."""


@dataclass(frozen=True, slots=True)
class Style:
    """A kind of block: its height as a share of the full block, from `floor` up, and its paint.

    `look` is 'solid', 'band' (outlined), 'hatch' (pale, hatched, outlined), 'edge' (outline only),
    'cut' (as the paper) or 'bare' (nothing to see; the pointer still reads it).
    """

    state: str
    look: str
    height: float = 1.0
    floor: float = 0.0


STYLES: Final = {
    "suspended": Style("suspended", "bare", 0.5),
    "idle core": Style("suspended", "bare", 0.5),
    "asleep": Style("asleep", "hatch", 0.3),
    "unknown": Style("unknown", "hatch"),
    "ready": Style("ready", "hatch", 0.4),
    "blocked": Style("wanted", "band"),
    "idle": Style("idle", "band"),
    "execution": Style("execution", "solid"),
    "switching": Style("switching", "solid", 0.4),
    "isr": Style("isr", "solid", 1.2),
    "held": Style("held", "band", 0.5),
    "wanted": Style("wanted", "band", 0.5, 0.5),
    "items": Style("items", "band"),
    "full": Style("late", "solid", 0.15, 0.85),
    "notch": Style("isr", "cut", 0.55, 0.45),
    "spinning": Style("blocked", "edge"),
    "overrun": Style("late", "edge"),
}
"""Kinds of block, in the order in which they are drawn: later ones lie on top."""

_TRACKS: Final[dict[Kind, dict[str, str]]] = {
    "isr": {"isr": "isr"},
    "task": {
        "suspended": "suspended",
        "unknown": "unknown",
        "ready": "ready",
        "blocked": "blocked",
        "running": "execution",
        "spinning": "spinning",
    },
    "core": {
        "idle": "idle core",
        "asleep": "asleep",
        "unknown": "unknown",
        "switching": "switching",
        "task": "execution",
        "isr": "isr",
    },
    "lock": {"held": "held", "wanted": "wanted"},
    "queue": {"unknown": "unknown"},
}
"""Kind of lane → track → kind of block."""

SAID: Final = {
    "suspended": "waits",
    "idle core": "idle",
    "asleep": "asleep",
    "unknown": "not known",
    "ready": "ready",
    "blocked": "waits for a lock",
    "idle": "runs",
    "execution": "executes",
    "switching": "the kernel switches",
    "isr": "interrupt",
    "held": "held",
    "wanted": "wanted",
    "items": "items",
    "full": "full",
    "notch": "interrupted",
    "spinning": "spins for a lock",
    "overrun": "runs after its deadline",
}
"""Kind of block → what it says of its thing."""


@dataclass(slots=True)
class Drawing:
    """Blocks gathered lane by lane, kind by kind, and the labels that fit in them.

    `marks` are the moments of what stands on the blocks, by the baseline of the lane.
    """

    start_ns: int
    end_ns: int
    px_per_ns: float
    blocks: dict[str, list[tuple[int, int, float, float, str]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    labels: list[tuple[Place, float, float, float, str, str]] = field(default_factory=list)
    marks: dict[int, list[float]] = field(default_factory=lambda: defaultdict(list))
    edges: Edges = field(default_factory=Edges)

    def add(
        self,
        kind: str,
        place: Place,
        start: int,
        end: int,
        said: str,
        label: str = "",
        share: float = 1.0,
    ) -> None:
        """One block; `said` (inert) is shown at the pointer, `label` (raw) inside, if it fits.

        `share` of the height that its style gives it is drawn.
        """
        style = STYLES[kind]
        width = self.end_ns - self.start_ns
        shown_from, shown_to = max(start, self.start_ns), min(end, self.end_ns)
        height = place.block * style.height * share
        middle = place.baseline - place.block * style.floor - height / 2
        low, high = max(start, self.start_ns - width), min(end, self.end_ns + width)
        self.blocks[kind].append((low, high - low, middle, height, said))
        if style.look not in ("cut", "edge"):
            self.edges.block(place, start, end, SAID[kind])
        if label and height >= LABEL_PX:
            self.labels.append((place, shown_from, shown_to, middle, label, kind))

    def traces(self, palette: Palette) -> list[dict[str, Any]]:
        """One bar trace a kind of block, and one text trace for the labels."""
        made = [
            _bars(STYLES[kind], self.blocks[kind], palette)
            for kind in STYLES
            if self.blocks.get(kind)
        ]
        inks = {"solid": palette.paper}
        labels = [
            Label(low, high, middle, place.baseline, text,
                  inks.get(STYLES[kind].look, palette.text))
            for place, low, high, middle, text, kind in self.labels
        ]  # fmt: skip
        found = placed(labels, self.marks, self.px_per_ns)
        return [*made, trace(found)] if found else made


def lane_blocks(drawing: Drawing, run: Run, place: Place) -> None:
    """Every interval of one lane that shows in the window."""
    lane = place.lane
    for track_name, kind in _TRACKS[lane.kind].items():
        track = run.lanes.tracks[lane.kind].get(track_name)
        if track is None or (lane.idle and kind == "ready"):
            continue  # an idle task is always ready: that says nothing
        if lane.idle and kind == "execution":
            kind = "idle"
        rows = track.visible(lane.key, drawing.start_ns, drawing.end_ns)
        reasons = _reasons(run, lane.key, rows) if kind == "ready" else {}
        for row in rows.iter_rows(named=True):  # few rows: a lane of more is drawn as columns
            start, end = row["start_ns"], row["end_ns"]
            why, label = _why(kind, row)
            why = reasons.get(start, why)
            drawing.add(
                kind, place, start, end, _said(lane.name, SAID[kind], why, start, end), label
            )


def level_blocks(drawing: Drawing, run: Run, place: Place) -> None:
    """The items of a queue in the window, as a step; where it is full, its top is marked."""
    levels = run.lanes.levels
    key, name = place.lane.key, place.lane.name
    depth, full = levels.depth.get(key), levels.full[key]
    rows = levels.held.visible(key, drawing.start_ns, drawing.end_ns)
    pieces = rows.select("start_ns", "end_ns", "items")
    for start, end, items in pieces.iter_rows():  # few rows: a lane of more is drawn as columns
        what = f"{items} of {depth} items" if depth else count(items, "item")
        said = _said(name, what, "", start, end)
        share = min(items / full, 1.0)
        drawing.add("items", place, start, end, said, str(items), share)
        if depth and items >= depth:
            drawing.add("full", place, start, end, said)


def notches(drawing: Drawing, run: Run, places: Sequence[Place]) -> None:
    """Where interrupts cut into the blocks of tasks' lanes, if a cut is a pixel wide.

    A narrower one would be drawn a pixel wide all the same, and make a block look half eaten; it
    still stands in the lane of its interrupt.
    """
    for core, cuts in _wide_cuts(drawing, run).items():
        for place in places:
            running = run.lanes.tracks["task"]["running"].visible(
                place.lane.key, drawing.start_ns, drawing.end_ns
            )
            here = running.filter(pl.col("core") == core)
            lows, highs = here["start_ns"].to_numpy(), here["end_ns"].to_numpy()
            starts, ends = cuts["start_ns"].to_numpy(), cuts["end_ns"].to_numpy()
            for i, k in zip(*meetings(starts, ends, lows, highs), strict=True):
                a, b = max(int(lows[i]), int(starts[k])), min(int(highs[i]), int(ends[k]))
                who = cuts["who"][int(k)]
                why = f"by {inert(who)}" if who else ""
                drawing.add("notch", place, a, b, _said(place.lane.name, SAID["notch"], why, a, b))


def _wide_cuts(drawing: Drawing, run: Run) -> dict[int, pl.DataFrame]:
    """Core → its time in interrupts in the window, in pieces that are a pixel wide or more."""
    track = run.lanes.tracks["core"]["isr"]
    wide = LENGTH.ge(1 / drawing.px_per_ns)
    return {
        core.key: cuts
        for core in run.lanes.of("core")
        if (cuts := track.visible(core.key, drawing.start_ns, drawing.end_ns).filter(wide)).height
    }


def _said(name: str, what: str, why: str, start: int, end: int) -> str:
    """What the pointer shows; `why` is inert already."""
    return (
        f"<b>{inert(name)}</b><br>{what}{' ' + why if why else ''}"
        f"<br>{duration(end - start)} ({exact(end - start)}) from {moment(start)}"
    )


def _why(kind: str, row: dict[str, Any]) -> tuple[str, str]:
    """(words for the pointer, inert; label for the block, raw) of one interval."""
    match kind:
        case "blocked":
            return (f": {inert(row['waits_for'])}", row["waits_for"])
        case "suspended" if row["waits_for"]:
            return (f"for {inert(row['waits_for'])}", "")
        case "execution" if row.get("who"):
            return (f": {inert(row['who'])}", row["who"])
        case "isr" if row.get("who"):
            return (f": {inert(row['who'])}", row["who"])
        case "isr":
            return (f"on core {row['core']}", "")
        case "execution" | "idle" if row.get("core") is not None and "state" in row:
            return (f"on core {row['core']}", "")
        case "held" if row["task"]:
            return (f"by {inert(row['task'])}", row["task"])
        case "wanted":
            return (f"by {inert(row['task'])}", row["task"])
        case "spinning":
            return (f": {inert(row['lock'])}", "")
        case _:
            return ("", "")


def _reasons(run: Run, task: int, ready: pl.DataFrame) -> dict[int, str]:
    """Start of a ready interval → why the task did not run in it, from the jobs' episodes."""
    if ready.is_empty():
        return {}
    jobs = run.jobs.visible(task, ready["start_ns"][0], ready["end_ns"][-1])["job_id"]
    if jobs.is_empty():
        return {}
    episodes = run.episodes_of(min(jobs), max(jobs))
    if episodes.height > MOST_EPISODES:
        return {}
    causes = episodes.filter(pl.col("entry") != "execution")
    since, until = causes["start_ns"].to_numpy(), causes["end_ns"].to_numpy()
    starts, ends = ready["start_ns"].to_numpy(), ready["end_ns"].to_numpy()
    cause, interval = meetings(starts, ends, since, until)
    shared = np.minimum(until[cause], ends[interval]) - np.maximum(since[cause], starts[interval])
    told = list(zip(*(causes[name].to_list() for name in ("entry", "by", "via")), strict=True))
    spent: dict[int, Counter[tuple[str, str | None, str | None]]] = defaultdict(Counter)
    for start, row, ns in zip(starts[interval], cause, shared, strict=True):
        spent[int(start)][told[row]] += int(ns)
    return {
        start: "".join(
            f"<br>{duration(ns)} {reason(entry, by and inert(by), via and inert(via))}"
            for (entry, by, via), ns in largest.most_common(4)
        )
        for start, largest in spent.items()
    }


def _bars(
    style: Style, blocks: list[tuple[int, int, float, float, str]], palette: Palette
) -> dict[str, Any]:
    """One bar trace. Bars lie in pixels from the top; plotly never draws one under a pixel wide."""
    base, length, middle, height, said = zip(*blocks, strict=True)
    paint = palette.states[style.state]
    clear = "rgba(0,0,0,0)"
    fill = {"solid": paint.fill, "cut": palette.paper, "bare": clear, "edge": clear}.get(
        style.look, paint.fill
    )
    marker: dict[str, Any] = {"color": fill, "line": {"width": 0}}
    if style.look in ("band", "hatch"):
        marker["line"] = {"width": 1, "color": paint.edge}
    if style.look == "edge":
        marker["line"] = {"width": 2, "color": paint.edge}
    if style.look == "hatch":
        marker["pattern"] = {
            "shape": paint.hatch,
            "fillmode": "overlay",
            "fgcolor": paint.edge,
            "fgopacity": 1,
            "size": 5,
            "solidity": 0.25,
        }
    return {
        "type": "bar",
        "orientation": "h",
        "base": packed(np.array(base, np.float64)),
        "x": packed(np.array(length, np.float64)),
        "y": packed(np.array(middle, np.float32)),
        "width": packed(np.array(height, np.float32)),
        "hovertext": said,
        "hoverinfo": "text",
        "marker": marker,
    }
