"""Runs on the shelf: bounded, the least recently used upload goes first, named ones stay."""

from tests.drawing import scene
from tracelens.web.shelf import VERSIONS, Shelf


def test_the_upload_that_nobody_looked_at_goes_first() -> None:
    shelf, run = Shelf(most_uploads=2), scene.run()
    shelf.put(run, "1")
    first, second = shelf.put_upload(run, 10), shelf.put_upload(run, 10)
    assert shelf.get(first) is run, "looked at, so second is the older one now"
    third = shelf.put_upload(run, 10)
    assert [shelf.get(i) is not None for i in (first, second, third)] == [True, False, True]
    assert shelf.get("1") is run


def test_uploads_are_bounded_by_their_length_too() -> None:
    shelf, run = Shelf(most_bytes=100), scene.run()
    small, large = shelf.put_upload(run, 60), shelf.put_upload(run, 90)
    assert shelf.get(small) is None
    assert shelf.get(large) is run
    alone = shelf.put_upload(run, 500)
    assert shelf.get(alone) is run, "the newest is kept whatever its length"


def test_of_a_growing_log_the_latest_readings_are_kept() -> None:
    shelf, run = Shelf(), scene.run()
    ids = [shelf.put_version(run, "1", number) for number in range(1, 12)]
    assert [i for i in ids if shelf.get(i)] == ids[-VERSIONS:]
    assert shelf.newest(ids[0]) == ids[-1]
    assert shelf.newest("2.1") == "2.1"
    assert shelf.first() is not None
    assert shelf.newest(shelf.first() or "") == ids[-1]
