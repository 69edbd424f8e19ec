"""What no log can do without: the clock, and which priority is more urgent."""

import polars as pl

from tracelens.errors import LogError
from tracelens.model.system import System


def what_is_missing(
    declared: System, parts: list[pl.DataFrame], names: tuple[str, ...]
) -> LogError | None:
    """The error that a log raises that lacks it. `parts`: the events of each source of `names`."""
    if not declared.clocks:
        return LogError(
            "no #clock line: found times in ticks, expected how many ticks a second has",
            place=names[0],
            hint="add a line such as: #clock hz=1000000 bits=32",
        )
    return _core_without_clock(declared, parts, names) or _no_order(declared, parts, names[0])


def _core_without_clock(
    declared: System, parts: list[pl.DataFrame], names: tuple[str, ...]
) -> LogError | None:
    if declared.clocks[0].core is None:
        return None
    own = [clock.core for clock in declared.clocks]
    for name, events in zip(names, parts, strict=True):
        other = events.filter(~pl.col("core").is_in(own)).head(1)
        if len(other):
            core = other["core"][0]
            return LogError(
                f"no clock for core {core}: found #clock lines of other cores only",
                place=f"{name}:{other['line'][0]}",
                hint=f"add #clock core={core} hz=…, or one #clock without core= for all others",
            )
    return None


def _no_order(declared: System, parts: list[pl.DataFrame], name: str) -> LogError | None:
    """Kernels differ in which number is more urgent, and no default is safe."""
    if declared.order is not None:
        return None
    ranked = [task for task in declared.tasks if task.priority is not None]
    ceilings = [lock for lock in declared.locks if lock.ceiling is not None]
    if ranked:
        use = f"#task id={ranked[0].id} priority={ranked[0].priority}"
    elif ceilings:
        use = f"#lock id={ceilings[0].id} ceiling={ceilings[0].ceiling}"
    elif any((events["event"] == "priority").any() for events in parts):
        use = "priority events"
    else:
        return None
    return LogError(
        f"no #priority order: found {use}, expected which number is more urgent",
        place=name,
        hint="add #priority order=higher_first or #priority order=lower_first",
    )
