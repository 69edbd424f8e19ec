"""From where on something is worth saying: every threshold, each with where it comes from."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from difflib import get_close_matches

from tracelens.errors import UsageError


def _limit(default: float, source: str) -> float:
    made: float = field(default=default, metadata={"source": source})
    return made


@dataclass(frozen=True)
class Limits:
    """Every threshold of the detectors. `sources()` tells where each comes from.

    A share is of 1; a ratio is of two like quantities; `_runs` counts lengths of this run.
    """

    core_load: float = _limit(
        0.70,
        "load of a core: leaves less than the margin of 30 % at delivery that NASA GSFC-STD-1000, "
        "rule 3.07, table 3.07-1, asks of a processor (as reproduced in the NASA Software "
        "Engineering Handbook, section 9.12)",
    )
    core_load_full: float = _limit(
        0.90,
        "load from which on a core counts as full: random task sets break down at about 88 % on "
        "average under rate-monotonic priorities (Lehoczky, Sha and Ding, RTSS 1989; from memory)",
    )
    peak_load: float = _limit(0.99, "load over the peak window; common practice")
    response_share: float = _limit(
        0.80, "longest response / deadline, none missed; common practice"
    )
    execution_share: float = _limit(
        0.50, "longest own execution / deadline: half is left for all others; common practice"
    )
    hold_up_share: float = _limit(
        0.10, "share of its deadline that a task is held up once; common practice"
    )
    section_share: float = _limit(
        0.50,
        "a critical section's own execution / deadline of a more urgent user of the lock, whose "
        "blocking term it is (Sha, Rajkumar and Lehoczky 1990); the share is common practice",
    )
    queue_share: float = _limit(0.80, "most items / depth of a queue; common practice")
    stack_headroom: float = _limit(
        0.20, "least free bytes / size of a stack: 20 to 30 % is usually asked for; common practice"
    )
    coverage: float = _limit(0.99, "known core time / core time; common practice")
    jobs_for_p99: float = _limit(
        100, "below it the 99th percentile by nearest rank is the maximum; arithmetic"
    )
    rise_ratio: float = _limit(
        1.5, "a level / the usual one, from which on it has grown; common practice"
    )
    rise_score: float = _limit(
        1.2,
        "range of the cumulated ranks over σ√n: a Brownian bridge's range exceeds 1.2 in half of "
        "all runs, so alone it says little; for 8 to 40 values, more is hardly possible (Kuiper "
        "1960; from memory)",
    )
    rise_certain: float = _limit(
        2.3, "the same where only some values are higher: by chance once in 1000 (Kuiper 1960)"
    )
    single_ratio: float = _limit(
        3.0, "longest job or hold / the ninth tenth of all; common practice"
    )
    burst_ratio: float = _limit(3.0, "load of a handler in a window / its usual; common practice")
    burst_load: float = _limit(
        0.10, "share of a core that a handler takes beyond its usual; common practice"
    )
    interrupt_load: float = _limit(
        0.20,
        "share of a core that one handler takes in the whole run, a note from half of it on; "
        "common practice",
    )
    trend_z: float = _limit(
        4.0, "Mann–Kendall z of a trend: by chance once in 15,000 (normal table)"
    )
    forecast_runs: float = _limit(
        10.0, "how far ahead a forecast is told, in lengths of this run; common practice"
    )
    stack_even: float = _limit(
        0.4, "least fall in each fifth of a run / mean fall: a leak falls evenly; common practice"
    )
    starving_run_share: float = _limit(
        0.10,
        "share of the run that a task without deadline or period is ready in vain; common practice",
    )
    dispatch_ratio: float = _limit(
        10.0, "time that a lower task runs on / the median switch of the run; common practice"
    )
    order_ratio: float = _limit(
        2.0, "deadline of the task that goes first / own deadline; common practice"
    )
    growth_share: float = _limit(
        0.25, "growth of one ledger entry / lateness, from which on it is named; common practice"
    )
    cause_share: float = _limit(
        0.40, "share of all lateness from which on one cause is named for it; common practice"
    )

    @classmethod
    def of(cls, overrides: Mapping[str, float]) -> "Limits":
        """The defaults with some replaced. Raises `UsageError` for a name that is none."""
        known = [one.name for one in fields(cls)]
        for name in overrides:
            if name not in known:
                near = get_close_matches(name, known, 1)
                raise UsageError(
                    f"no such threshold: found {name}, expected one of {', '.join(known)}",
                    hint=f"did you mean {near[0]}?" if near else None,
                )
        return cls(**overrides)

    @classmethod
    def sources(cls) -> dict[str, str]:
        """Name of each threshold → where it comes from."""
        return {one.name: one.metadata["source"] for one in fields(cls)}
