"""What would have had to be shorter: arithmetic on the ledger, other things equal."""

from collections.abc import Sequence

from tracelens.explanation.records import Job, Row, Shorter, Without


def parts(rows: Sequence[Row]) -> tuple[Row, ...]:
    """The ledger's rows other than the job's own execution, the largest first.

    All inversion on one lock is one part, without `by`: one repair, the lock's protocol, concerns
    it whoever ran.
    """
    pooled: dict[tuple[str, str | None, str | None], int] = {}
    for row in rows:
        if row.entry != "execution":
            key = (row.entry, None if row.entry == "inversion" else row.by, row.via)
            pooled[key] = pooled.get(key, 0) + row.ns
    made = (Row(*key, ns) for key, ns in pooled.items())
    return tuple(sorted(made, key=lambda part: -part.ns))


def shorter(job: Job, rows: Sequence[Row]) -> Shorter | None:
    """The job without each part of its ledger, and without the fewest that suffice.

    None for a job that was not late.
    """
    lateness = job.lateness_ns
    if not job.late or lateness is None:
        return None
    found = parts(rows)
    alone = tuple(_without(job, lateness, (part,)) for part in found)
    taken = 0
    for count, part in enumerate(found, 1):
        taken += part.ns
        if taken >= lateness:
            return Shorter(alone, _without(job, lateness, found[:count]))
    return Shorter(alone, None)


def _without(job: Job, lateness: int, taken: tuple[Row, ...]) -> Without:
    ns = sum(part.ns for part in taken)
    return Without(parts=taken, left_ns=job.length_ns - ns, early_ns=ns - lateness)
