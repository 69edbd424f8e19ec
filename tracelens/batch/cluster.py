"""The same work on a cluster of Dask (extra `cluster`): scheduler and workers are the user's.

Every worker must reach the logs and the directory of the results under the same paths, and have
this version of tracelens. A job whose worker dies is done again by another.
"""

import logging
from collections.abc import Iterator, Sequence
from importlib.util import find_spec
from itertools import islice
from typing import Any, Final

from tracelens.batch.work import Job, Outcome, failure, work
from tracelens.errors import UsageError

AHEAD: Final = 2
"""Jobs handed out for each thread of the workers."""

GONE: Final = "the scheduler went away before it was done"

PATIENCE_S: Final = 30
"""How long the scheduler may take to answer, and the first worker to come."""


def outcomes(jobs: Sequence[Job], address: str) -> Iterator[Outcome]:
    """The outcome of every job, each once, in the order in which they are done.

    `address` is the scheduler's, such as 'tcp://10.0.0.5:8786'. A job that kills several workers is
    given up, and its outcome says so. Raises `UsageError` if there is no scheduler or no worker.
    """
    client = _connect(address)
    try:
        yield from _work_off(client, list(jobs))
    finally:
        client.close()


def _connect(address: str) -> Any:
    if not find_spec("distributed"):
        raise UsageError(
            "a cluster needs the package distributed, which is not installed",
            hint="pip install 'tracelens[cluster]'",
        )
    from distributed import Client

    # What goes wrong is told in the outcomes; Dask would print tracebacks of lost connections too.
    for teller in ("distributed", "distributed.client"):
        logging.getLogger(teller).setLevel(logging.CRITICAL + 1)
    try:
        client = Client(address, timeout=PATIENCE_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise UsageError(
            f"no scheduler answers at {address}: {str(error) or 'time ran out'}",
            hint="start one with `dask scheduler`, workers with `dask worker ADDRESS --nthreads 1`",
        ) from error
    try:
        client.wait_for_workers(1, timeout=PATIENCE_S)
    except TimeoutError as error:
        client.close()
        raise UsageError(
            f"the scheduler at {address} has no worker: found none in {PATIENCE_S} s, expected one",
            hint=f"start some with `dask worker {address} --nthreads 1`",
        ) from error
    return client


def _work_off(client: Any, jobs: list[Job]) -> Iterator[Outcome]:
    from distributed import as_completed

    # Keys that no other session uses: what a scheduler knows by key, it does not do again.
    session = client.id

    def hand_out(job: Job) -> Any:
        future = client.submit(work, job, key=f"{session}-{job.number}", pure=False)
        under_way[future.key] = job
        return future

    under_way: dict[str, Job] = {}
    waiting = iter(jobs)
    ahead = AHEAD * max(1, sum(client.nthreads().values()))
    done = as_completed(map(hand_out, islice(waiting, ahead)), loop=client.loop)
    for future in done:
        job = under_way.pop(future.key)
        if future.status == "finished":
            yield future.result()
        elif future.status == "error":
            yield failure(job, f"no worker finished it: {future.exception()}")
        else:  # what the scheduler had of it is gone, and so is the scheduler
            yield from (failure(lost, GONE) for lost in (job, *under_way.values(), *waiting))
            return
        future.release()
        for following in islice(waiting, 1):
            done.add(hand_out(following))
