"""Channels that a target sends over: a serial port, a socket, standard input.

A channel gives bytes as they come. One that vanished (a plug pulled, a target that lost power) says
so once and can be opened again.
"""

import os
import select
import socket
import sys
from typing import Any, Final, Protocol
from urllib.parse import urlsplit

from tracelens.errors import InputError, UsageError

STDIN: Final = "-"
PIECE: Final = 1 << 16
"""Bytes taken at once, at most."""

WAIT_S: Final = 0.1
"""How long a read waits for something to come; what waits for time looks as often."""


class VanishedError(Exception):
    """The other side is gone; `final` if it cannot come back (standard input at its end)."""

    def __init__(self, *, final: bool) -> None:
        super().__init__()
        self.final = final


class Channel(Protocol):
    """Where bytes come from."""

    def read(self) -> bytes:
        """What has come, after a short wait; b'' if nothing has. Raises `VanishedError`."""
        ...

    def close(self) -> None:
        """Give it up."""
        ...


def open_channel(port: str, baud: int) -> Channel:
    """Open a serial device, `tcp://HOST:PORT`, or standard input for `-`.

    Raises `InputError` if it is not there, `UsageError` if its name makes no sense or the library
    for serial ports is missing.
    """
    if port == STDIN:
        return _Pipe()
    if port.startswith("tcp://"):
        return _Socket(port)
    return _Serial(port, baud)


class _Pipe:
    def __init__(self) -> None:
        self._fd = sys.stdin.fileno()

    def read(self) -> bytes:
        if not select.select([self._fd], [], [], WAIT_S)[0]:
            return b""
        piece = os.read(self._fd, PIECE)
        if not piece:
            raise VanishedError(final=True)
        return piece

    def close(self) -> None:
        pass


class _Socket:
    def __init__(self, address: str) -> None:
        try:
            parts = urlsplit(address)
            host, port = parts.hostname, parts.port
        except ValueError:
            host = port = None
        if not host or port is None:
            raise UsageError(
                f"no such address: found {address!r}, expected tcp://HOST:PORT",
                hint="for example tcp://127.0.0.1:4000",
            )
        try:
            self._socket = socket.create_connection((host, port), timeout=5)
        except OSError as error:
            raise InputError(
                f"cannot be opened: {error.strerror or error}",
                place=address,
                hint="check that the other side listens",
            ) from None
        self._socket.settimeout(WAIT_S)

    def read(self) -> bytes:
        try:
            piece = self._socket.recv(PIECE)
        except TimeoutError:
            return b""
        except OSError:
            raise VanishedError(final=False) from None
        if not piece:
            raise VanishedError(final=False)
        return piece

    def close(self) -> None:
        self._socket.close()


class _Serial:
    def __init__(self, port: str, baud: int) -> None:
        try:
            import serial
        except ImportError:
            raise UsageError(
                "serial ports need a library that is not installed: found no pyserial",
                hint="pip install 'tracelens[serial]'",
            ) from None
        self._error: type[Exception] = serial.SerialException
        try:
            self._port: Any = serial.Serial(port, baud, timeout=WAIT_S, exclusive=True)
        except (serial.SerialException, ValueError, OSError) as error:
            why = getattr(error, "strerror", None) or str(error).split(":")[0]
            raise InputError(
                f"cannot be opened: {why}",
                place=port,
                hint="check the name, who may read it, and that no other program has it open",
            ) from None

    def read(self) -> bytes:
        try:
            first: bytes = self._port.read(1)
            return first + self._port.read(min(self._port.in_waiting, PIECE)) if first else b""
        except (self._error, OSError, TypeError):
            # TypeError: the library's own, when the device goes away in the middle of a read.
            raise VanishedError(final=False) from None

    def close(self) -> None:
        self._port.close()
