"""A replay as JSON: schema tracelens.whatif/1, times in µs as numbers."""

from typing import Any, Final

import msgspec

from tracelens.replay.fidelity import Fidelity
from tracelens.replay.power import Drawn
from tracelens.replay.run import Prediction
from tracelens.units import ns_to_us

SCHEMA: Final = "tracelens.whatif/1"


def encode(told: Prediction) -> bytes:
    """One document, indented, with a line feed at its end.

    Keys: schema, changes[] (as on the command line), fidelity {jobs, near, exact, share,
    tolerance_us, worst_us, off[] {task, entry, by, jobs, worst_us, worst_job}, notes[]}, tasks[]
    {task, change, deadline_us, recorded {jobs, misses, p50_us, p95_us, max_us,
    worst_lateness_us}, predicted {the same}}, power (null where no currents are declared, else
    the run unchanged and as predicted: {average_ma, battery_h, wakeups}).
    """
    return encoded(
        {
            "schema": SCHEMA,
            "changes": [str(change) for change in told.changes],
            "fidelity": fidelity(told.fidelity),
            "tasks": tasks(told),
            "power": None if told.power is None else [drawn(one) for one in told.power],
        }
    )


def encoded(document: dict[str, Any]) -> bytes:
    """The bytes of a document."""
    return msgspec.json.format(msgspec.json.encode(document), indent=2) + b"\n"


def fidelity(said: Fidelity) -> dict[str, Any]:
    """How far to believe a replay."""
    return {
        "jobs": said.jobs,
        "near": said.near,
        "exact": said.exact,
        "share": said.share,
        "tolerance_us": ns_to_us(said.tolerance_ns),
        "worst_us": ns_to_us(said.worst_ns),
        "off": [
            {
                "task": off.task,
                "entry": off.entry,
                "by": off.by,
                "jobs": off.jobs,
                "worst_us": ns_to_us(off.worst_ns),
                "worst_job": off.worst_job,
            }
            for off in said.off
        ],
        "notes": list(said.notes),
    }


def drawn(one: Drawn) -> dict[str, Any]:
    """What a run draws."""
    return {
        "average_ma": one.average_ma,
        "battery_h": one.battery_h,
        "wakeups": one.wakeups,
    }


def tasks(told: Prediction) -> list[dict[str, Any]]:
    """Each task, recorded and predicted."""
    return [
        {
            "task": row["task"],
            "change": row["change"],
            "deadline_us": ns_to_us(row["deadline_ns"]),
            "recorded": _side(row, "recorded_"),
            "predicted": _side(row, "predicted_"),
        }
        for row in told.tasks.to_dicts()  # few rows: tasks
    ]


def _side(row: dict[str, Any], prefix: str) -> dict[str, Any]:
    mine = {key.removeprefix(prefix): row[key] for key in row if key.startswith(prefix)}
    return {
        f"{key.removesuffix('_ns')}_us" if key.endswith("_ns") else key: (
            ns_to_us(value) if key.endswith("_ns") else value
        )
        for key, value in mine.items()
    }
