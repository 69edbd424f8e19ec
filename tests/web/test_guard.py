"""Who may ask. Fetch Metadata: the policy of resource isolation of W3C's 'Fetch Metadata Request
Headers', from memory; Origin: RFC 6454."""

import pytest

from tracelens.web.guard import Guard

HOST = {"Host": "127.0.0.1:8050"}


@pytest.mark.parametrize(
    ("method", "site", "mode", "dest", "allowed"),
    [
        ("GET", "none", "navigate", "document", True),
        ("GET", "same-origin", "cors", "empty", True),
        ("POST", "same-origin", "cors", "empty", True),
        ("GET", "cross-site", "navigate", "document", True),
        ("GET", "same-site", "navigate", "document", True),
        ("GET", "cross-site", "navigate", "iframe", False),
        ("GET", "cross-site", "navigate", "object", False),
        ("POST", "cross-site", "navigate", "document", False),
        ("GET", "cross-site", "no-cors", "script", False),
        ("GET", "cross-site", "no-cors", "image", False),
        ("GET", "same-site", "cors", "empty", False),
        ("POST", "same-site", "cors", "empty", False),
        ("GET", "what?", "", "", False),
    ],
)
def test_another_site_may_link_here_and_nothing_else(
    method: str, site: str, mode: str, dest: str, allowed: bool
) -> None:
    sent = HOST | {"Sec-Fetch-Site": site, "Sec-Fetch-Mode": mode, "Sec-Fetch-Dest": dest}
    assert (Guard().refusal(method, sent) is None) is allowed


@pytest.mark.parametrize(
    ("host", "origin", "allowed"),
    [
        ("127.0.0.1:8050", None, True),
        ("127.0.0.1:8050", "http://127.0.0.1:8050", True),
        ("LOCALHOST:8050", "http://localhost:8050", True),
        ("[::1]:8050", "http://[::1]:8050", True),
        ("127.0.0.1:8050", "http://127.0.0.1:8051", False),
        ("127.0.0.1:8050", "http://localhost:8050", False),
        ("127.0.0.1:8050", "null", False),
        ("127.0.0.1:8050", "", False),
        ("127.0.0.1:8050", "http://[", False),
        ("127.0.0.1:8050", "http://[x]:8050", False),
        ("127.0.0.1@elsewhere.example", None, False),
        ("elsewhere.example#127.0.0.1", None, False),
        ("[127.0.0.1", None, False),
        ("127.0.0.1, elsewhere.example", None, False),
        ("127.1", None, False),
        ("2130706433", None, False),
        ("0.0.0.0:8050", None, False),
        ("localhost.", None, False),
        ("", None, False),
    ],
)
def test_host_and_origin(host: str, origin: str | None, allowed: bool) -> None:
    sent = {"Host": host} | ({} if origin is None else {"Origin": origin})
    assert (Guard().refusal("POST", sent) is None) is allowed
