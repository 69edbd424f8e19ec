"""The bytes of a log: from a file, standard input, an upload; plain or compressed."""

import os
import sys
import zlib
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from io import BytesIO
from os import PathLike, fspath
from pathlib import Path
from stat import S_ISREG
from typing import Any, Final

from tracelens.errors import LogError
from tracelens.files import TooLongError, read_whole, share_of_memory
from tracelens.log.text import OnDisk, Stretch, Text
from tracelens.plain import file_name

STDIN: Final = "-"
SHARE: Final = 4
"""What of a log is in memory as text may be one part in so many of it: what is made of it takes
several."""

_GZIP: Final = b"\x1f\x8b"
_ZSTD: Final = b"\x28\xb5\x2f\xfd"
_UTF8_MARK: Final = b"\xef\xbb\xbf"
_UTF16_MARKS: Final = (b"\xff\xfe", b"\xfe\xff")
_LARGE: Final = 1 << 23  # what is smaller may as well be in memory
_BLOCK: Final = 1 << 16
_LEAST_BLOCK: Final = 1 << 8
_SMALL_BLOCK: Final = 1 << 12  # four octets of Zstandard can stand for 128 KiB, of gzip for 4 KiB


@dataclass(frozen=True, slots=True)
class Source:
    """The bytes of one part of a log under the name that messages use.

    `torn` says what is wrong with the compressed file that they came from, if it is cut or
    damaged: the bytes are then what could be unpacked before that.
    """

    name: str
    text: Text
    torn: str | None = None

    @property
    def data(self) -> bytes:
        """All of them."""
        return self.text.read(0, self.text.size)


def is_compressed(data: bytes) -> bool:
    """Whether the bytes are such as `unpack` undoes, told by how they begin."""
    return data.startswith((_GZIP, _ZSTD))


def opened(path: str | PathLike[str], stack: ExitStack, most: int | None = None) -> Source:
    """As `load`, but a large plain file is left where it is, and open until `stack` is closed.

    How long that is does not matter.
    """
    name = file_name(fspath(path))
    if name == STDIN:
        return load(path, most)
    try:
        about = Path(path).stat()
        if about.st_size < _LARGE or not S_ISREG(about.st_mode):
            return load(path, most)
        descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    except (OSError, ValueError):
        return load(path, most)  # which says what is wrong
    stack.callback(os.close, descriptor)
    head = os.pread(descriptor, 4, 0)
    if is_compressed(head) or head.startswith(_UTF16_MARKS):
        return load(path, most)
    start = len(_UTF8_MARK) if head.startswith(_UTF8_MARK) else 0
    size = os.fstat(descriptor).st_size
    return Source(name, Text(Stretch(OnDisk(name, descriptor), start, size)))


def load(path: str | PathLike[str], most: int | None = None) -> Source:
    """Read a file, or standard input for '-'. Raises `LogError` if there is nothing to read.

    `most` is how long the text may be, in bytes; if not given, a quarter of the machine's memory.
    """
    name = file_name(fspath(path))
    most = share_of_memory(SHARE) if most is None else most
    is_stdin = name == STDIN
    try:
        data = read_whole(sys.stdin.buffer if is_stdin else Path(path), most)
    except TooLongError:
        raise _too_long("standard input" if is_stdin else name, most) from None
    except FileNotFoundError:
        raise LogError("no such file", place=name, hint="check the path") from None
    except IsADirectoryError:
        raise LogError(
            "cannot be read: found a directory, expected a file",
            place=name,
            hint="name the log files in it one by one",
        ) from None
    except PermissionError:
        raise LogError(
            "cannot be read: permission denied", place=name, hint="check who may read the file"
        ) from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise LogError(f"cannot be read: {why}", place=name, hint="check the path") from None
    return unpack("standard input" if is_stdin else name, data, most)


def unpack(name: str, data: bytes, most: int | None = None) -> Source:
    """Undo gzip or Zstandard, told by content. Raises `LogError` for what cannot be a log.

    `most` is how many bytes a log may have, unpacked; if not given, a quarter of the machine's
    memory. One that has more is refused as soon as that shows, so that a small file cannot fill
    the memory.
    """
    torn, most = None, share_of_memory(SHARE) if most is None else most
    if data.startswith(_GZIP):
        data, torn = _collect(_bounded(_gunzip(data), name, most), "gzip")
    elif data.startswith(_ZSTD):
        data, torn = _collect(_bounded(_unzstd(name, data), name, most), "Zstandard")
    elif len(data) > most:
        raise _too_long(name, most)
    if not data:
        raise LogError(
            f"{'nothing can be unpacked' if torn else 'the file is empty'}: "
            "expected an event log, which begins with '#tracelens 1'",
            place=name,
            hint="check that the capture ran and had room to write",
        )
    if data.startswith(_UTF16_MARKS):
        raise LogError(
            "not UTF-8: found the byte order mark of UTF-16, expected text in UTF-8",
            place=f"{name}:1",
            hint="save the file as UTF-8",
        )
    start = len(_UTF8_MARK) if data.startswith(_UTF8_MARK) else 0
    return Source(name, Text(Stretch(data, start, len(data))), torn)


def _collect(blocks: Iterator[bytes], what: str) -> tuple[bytes, str | None]:
    """All that can be unpacked, and a sentence if that is not all there was."""
    unpacked, torn = BytesIO(), None
    try:
        for block in blocks:
            unpacked.write(block)
    except (EOFError, zlib.error, ValueError) as error:
        torn = f"the {what} file is cut or damaged ({error}): what comes after is missing"
    return unpacked.getvalue(), torn


def _bounded(blocks: Iterator[bytes], name: str, most: int) -> Iterator[bytes]:
    unpacked = 0
    for block in blocks:
        unpacked += len(block)
        if unpacked > most:
            raise _too_long(name, most)
        yield block


def _too_long(name: str, most: int) -> LogError:
    return LogError(
        f"the log is too long: found more than {most >> 20} MB of text, expected at most that",
        place=name,
        hint="unpack it and give the file to the command line, which leaves it on the disk",
    )


def _gunzip(data: bytes) -> Iterator[bytes]:
    return _members(data, _GZIP, lambda: zlib.decompressobj(wbits=31), _BLOCK)


def _unzstd(name: str, data: bytes) -> Iterator[bytes]:
    try:
        import zstandard
    except ImportError:
        raise LogError(
            "compressed with Zstandard, which this installation cannot read",
            place=name,
            hint="pip install zstandard, or unpack the file first",
        ) from None
    try:
        unpacker = zstandard.ZstdDecompressor().decompressobj
        yield from _members(data, _ZSTD, unpacker, _SMALL_BLOCK)
    except zstandard.ZstdError as error:
        raise ValueError(str(error)) from None


def _members(data: bytes, magic: bytes, unpacker: Callable[[], Any], size: int) -> Iterator[bytes]:
    """Every member of a compressed file in small blocks, so that a cut file gives what it holds."""
    at, octets = 0, memoryview(data)
    while data.startswith(magic, at):
        member, step = unpacker(), _LEAST_BLOCK  # what it leaves of a block is copied
        while not member.eof:
            block = octets[at : at + step]
            if not block:
                raise EOFError("it ends early")
            yield member.decompress(block)
            at += len(block)
            step = min(2 * step, size)
        at -= len(member.unused_data)
    if data[at:].strip(b"\0"):
        raise ValueError("something else follows")
