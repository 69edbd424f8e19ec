"""Short forms of what an explanation holds, in µs, for comparison."""

from pathlib import Path

from tracelens.explanation import Explanation, explain, find_job
from tracelens.explanation.records import Row, Wait
from tracelens.reading import read

SAMPLES = Path(__file__).parents[2] / "sample_traces"


def told(sample: str, **which: object) -> Explanation:
    """A job of a sample log."""
    run = read(SAMPLES / f"{sample}.csv")
    return explain(run, find_job(run, **which))


def ledger(rows: tuple[Row, ...]) -> dict[tuple[str, str | None, str | None], float]:
    return {(row.entry, row.by, row.via): row.ns / 1000 for row in rows}


def of_entry(rows: tuple[Row, ...], entry: str) -> float:
    return sum(row.ns for row in rows if row.entry == entry) / 1000


def chain(wait: Wait) -> str:
    """'bus<-low' for a lock and its holder; 'A<-two, B<-three' for a chain."""
    links = [f"{wait.lock}<-{'+'.join(str(holder.task) for holder in wait.holders)}"]
    links += [chain(further) for holder in wait.holders for further in holder.waits]
    return ", ".join(links)
