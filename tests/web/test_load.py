"""People at the page at once, by real requests to the command's own server: none is left out."""

from pathlib import Path

import pytest

from tests.benchmarks.clients import load
from tests.benchmarks.large_log import write_large_log


@pytest.mark.night
def test_twenty_people_are_all_answered_and_the_server_does_not_grow(tmp_path: Path) -> None:
    """Twenty seconds are no proof of flat memory: `tests/benchmarks/clients.py` runs ten minutes.

    What is filled meanwhile: samples that are opened (some 100 MB for the four of them), uploads
    (a dozen, of up to 0.3 MB of text each), the memory of the threads. A page that kept what it
    draws, a megabyte for each of a thousand requests, would stand out.
    """
    log = tmp_path / "large.csv"
    write_large_log(log, 100_000)
    came = load(log, clients=20, seconds=20, every_s=1, look_s=1)
    assert len(came.requests) > 100
    assert came.errors == []
    assert came.said == ""
    first, last = came.thirds()
    assert last - first < 600
