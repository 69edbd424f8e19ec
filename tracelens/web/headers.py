"""What every answer tells the browser: load and run what is the page's own, and keep nothing.

Sources: W3C, Content Security Policy Level 3; WHATWG, Fetch (Cross-Origin-Resource-Policy) and
HTML (Cross-Origin-Opener-Policy, Cross-Origin-Embedder-Policy); RFC 9111 (Cache-Control).
"""

import base64
import hashlib
from collections.abc import Iterable
from typing import Final

_DENIED: Final = (
    "accelerometer", "autoplay", "camera", "display-capture", "encrypted-media", "fullscreen",
    "geolocation", "gyroscope", "magnetometer", "microphone", "midi", "payment",
    "picture-in-picture", "publickey-credentials-get", "screen-wake-lock", "usb",
    "xr-spatial-tracking",
)  # fmt: skip

COMMON: Final = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Embedder-Policy": "require-corp",
    "Permissions-Policy": ", ".join(f"{what}=()" for what in _DENIED),
}

NOTHING: Final = "default-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
"""The policy of an answer that is no page."""

KEPT_NOWHERE: Final = "no-store"
"""For what is of a run: neither the browser's disk nor a proxy keeps it."""


ANY_STYLE: Final = "'unsafe-inline'"
"""Dash's components bring styles of their own, others with each version of it."""


def policy(scripts: Iterable[str] = (), styles: Iterable[str] = ()) -> str:
    """The policy of a page: what is its own, and inline what these sources allow: hashes.

    Trusted types are not asked for: Dash loads its own scripts without.
    """
    own = {"script-src": scripts, "style-src": styles}
    told = [" ".join([what, "'self'", *sorted(set(more))]) for what, more in own.items()]
    return "; ".join(
        ["default-src 'none'", *told, "connect-src 'self'", "img-src 'self' data: blob:",
         "frame-ancestors 'none'", "base-uri 'none'", "form-action 'none'"]
    )  # fmt: skip


def hash_of(text: str) -> str:
    """The source that allows one inline text."""
    digest = hashlib.sha256(text.encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"


def bare() -> dict[str, str]:
    """The headers of an answer that is no page: a line of text."""
    return {**COMMON, "Content-Security-Policy": NOTHING, "Cache-Control": KEPT_NOWHERE}
