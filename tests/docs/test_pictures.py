"""The pictures of the documents: stored small, and showing what the documents say they show."""

import re
import struct

import pytest

from tests.browser import CHROMIUM, chromium
from tests.docs.blocks import documents, text
from tests.pictures import FOLDER, LARGEST, PICTURES, places, small, take

NAMES = [picture.name for picture in PICTURES]


def size(png: bytes) -> tuple[int, int]:
    """Width and height of a PNG (ISO/IEC 15948: signature, then the chunk IHDR)."""
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    assert png[12:16] == b"IHDR"
    return struct.unpack(">II", png[16:24])


@pytest.mark.parametrize("picture", PICTURES, ids=NAMES)
def test_it_is_stored_small_and_of_its_size(picture):
    stored = (FOLDER / picture.file).read_bytes()
    assert size(stored) == (picture.width, picture.height)
    assert len(stored) <= LARGEST


def test_every_picture_is_shown_and_described():
    shown = [
        (file, about)
        for document in documents()
        for about, file in re.findall(r"!\[([^\]]*)\]\(\S*pictures/([^)]+)\)", text(document))
    ]
    assert {file for file, _ in shown} == {picture.file for picture in PICTURES}
    assert {file.name for file in FOLDER.iterdir()} == {picture.file for picture in PICTURES}
    assert all(len(about.split()) > 3 for _, about in shown)


@pytest.mark.night
@pytest.mark.browser
@pytest.mark.skipif(not CHROMIUM.exists(), reason=f"no browser at {CHROMIUM}")
def test_they_can_be_taken_again():
    """`take` asserts what each shows, and an empty console."""
    with places() as where, chromium() as browser:
        for picture in PICTURES:
            png = small(take(picture, browser, where))
            assert size(png) == (picture.width, picture.height)
            assert len(png) <= LARGEST
