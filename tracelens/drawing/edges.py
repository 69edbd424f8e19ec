"""The moments that a measurement snaps to: where blocks begin and end, and the marks of jobs."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from tracelens.drawing.sheet import Place
from tracelens.plain import plain


@dataclass(slots=True)
class Edges:
    """Moments gathered lane by lane; of two at one moment in one lane the one told first stays,
    but a mark of a job goes before the edge of a block."""

    blocks: dict[tuple[int, int], str] = field(default_factory=dict)
    marks: dict[tuple[int, int], str] = field(default_factory=dict)

    def block(self, place: Place, start_ns: int, end_ns: int, what: str) -> None:
        """Both ends of a block."""
        self.blocks.setdefault((place.baseline, start_ns), f"start of ‘{what}’")
        self.blocks.setdefault((place.baseline, end_ns), f"end of ‘{what}’")

    def mark(self, place: Place, at_ns: int, what: str) -> None:
        """A mark of a job."""
        self.marks.setdefault((place.baseline, at_ns), what)

    def listed(self, places: Sequence[Place], start_ns: int, end_ns: int) -> dict[str, Any]:
        """Those in [start_ns, end_ns], in order of time, as columns for the browser.

        `at` in ns; `lane` counts in `lanes`, each a name and the rows of the sheet that it takes;
        `what` counts in `words`. Names are safe to show as text.
        """
        lanes = {place.baseline: i for i, place in enumerate(places)}
        found = sorted(
            (at, lanes[baseline], what)
            for (baseline, at), what in (self.blocks | self.marks).items()
            if start_ns <= at <= end_ns and baseline in lanes
        )
        words = {word: i for i, word in enumerate(dict.fromkeys(what for _, _, what in found))}
        return {
            "at": [at for at, _, _ in found],
            "lane": [lane for _, lane, _ in found],
            "what": [words[what] for _, _, what in found],
            "words": list(words),
            "lanes": [
                [plain(place.lane.name), place.baseline - place.pitch, place.baseline]
                for place in places
            ],
        }
