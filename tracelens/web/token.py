"""The token without which nobody comes in, where one is asked for."""

import hmac
import secrets
import threading
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from typing import Final

from tracelens.web.refused import Refused

MOST_WRONG: Final = 10
WITHIN_S: Final = 60.0
"""So many wrong tokens from one address, and it is not listened to for so long."""

_MOST_ADDRESSES: Final = 1000

_ASK: Final = "This page asks for a token: open the address that `tracelens serve` printed"


class Door:
    """Lets in who has the token: given once in the address, then held by a cookie.

    Token and cookie are random, another pair each time the page is started. The cookie's name is
    too, so that what a browser still has from before is no guess. Who is in stays in whatever is
    guessed from the same address, for many may come by one.
    """

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self.token: Final = secrets.token_urlsafe(24)
        self.pass_: Final = secrets.token_urlsafe(32)
        self.cookie: Final = f"tracelens-{secrets.token_hex(4)}"
        self._now = now
        self._lock = threading.Lock()
        self._wrong: OrderedDict[str, deque[float]] = OrderedDict()

    def look(self, address: str, held: str | None, given: str | None) -> Refused | bool:
        """Why not; else whether a token in the address is to be exchanged for the cookie."""
        if held is not None and _same(held, self.pass_):
            return given is not None
        if held is None and given is None:
            return Refused(401, _ASK)
        if self._is_shut(address):
            return Refused(429, "Too many wrong tokens came from your address: wait a minute")
        if given is not None and _same(given, self.token):
            return True
        self._remember(address)
        return Refused(403, "This is not the token of this page")

    def _is_shut(self, address: str) -> bool:
        with self._lock:
            wrong = self._wrong.get(address, ())
            return sum(self._now() - at < WITHIN_S for at in wrong) >= MOST_WRONG

    def _remember(self, address: str) -> None:
        with self._lock:
            self._wrong.setdefault(address, deque(maxlen=MOST_WRONG)).append(self._now())
            self._wrong.move_to_end(address)
            while len(self._wrong) > _MOST_ADDRESSES:
                self._wrong.popitem(last=False)


def _same(one: str, other: str) -> bool:
    """Compared in constant time."""
    return hmac.compare_digest(one.encode("utf-8", "replace"), other.encode())
