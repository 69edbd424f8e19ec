"""What is refused before it has come, and what is answered by the threads for what takes long."""

import re
from typing import Final
from urllib.parse import parse_qs

from werkzeug.sansio.http import parse_cookie  # that of `http` is strict about what is no text

from tracelens.web import ids, loading
from tracelens.web.guard import ASKED, Guard
from tracelens.web.listening import UPLOAD, Head, Rules
from tracelens.web.refused import Refused
from tracelens.web.rooms.classroom import ids as classroom
from tracelens.web.rooms.classroom.page import CSV
from tracelens.web.rooms.nav import CLASSROOM, HISTORY, OPEN, REPAIR, TWO
from tracelens.web.rooms.past import ids as past
from tracelens.web.rooms.two import ids as two
from tracelens.web.shelf import SAMPLE, Shelf

_CALLBACK: Final = "_dash-update-component"

_LONG: Final = {
    "/": {f"{ids.REPORT_FILE}.data"},
    TWO: {f"{two.PAIR}.data", f"{two.VERDICT}.children"},
    REPAIR: {f"{two.MISSING}.children"},
    CLASSROOM: {f"{classroom.RESULTS}.children"},
    HISTORY: {f"{past.MISSING}.children", f"{past.FIGURE}.figure"},
}
"""Room → outputs of callbacks that read, run or compare whole logs."""

_TABLE: Final = "csv-file"
_OUTPUT: Final = re.compile(rb'"output"\s*:\s*"((?:[^"\\]|\\.)*)')


def rules(shelf: Shelf, loader: loading.Loader, guard: Guard) -> Rules:
    """The rules of a page."""

    def refusal(head: Head) -> Refused | None:
        sent = {name.replace("_", "-").title(): text for name, text in head.headers.items()}
        refused = guard.refusal(head.method, sent)
        if refused is None and guard.door is not None:
            held = parse_cookie(sent.get("Cookie", "")).get(guard.door.cookie)
            told = guard.door.look(head.address, held, None)
            refused = told if isinstance(told, Refused) else None
        if refused is None and ASKED not in sent:
            refused = Refused(403, "not asked by the page: no log is taken", f"open {OPEN}")
        if refused is None and not loader.has_room():
            refused = Refused(503, "too many logs wait to be read", "try again in a while")
        return refused

    return Rules(
        most=loading.MOST_LOG,
        is_upload=lambda head: head.method == "POST" and head.path == UPLOAD,
        refusal=refusal,
        is_long=lambda head, begin: is_long(shelf, head, begin),
    )


def is_long(shelf: Shelf, head: Head, begin: bytes) -> bool:
    """Whether a request takes long to answer; `begin` is how its body begins."""
    if head.method != "POST":
        return head.path == CSV or (head.path == "/" and _reads_a_sample(shelf, head.query))
    room, called, _ = head.path.partition(_CALLBACK)
    if not called:
        return head.path == UPLOAD  # its body is taken over, from disk to disk
    found = _OUTPUT.search(begin)
    output = found[1].decode("utf-8", "replace") if found else ""
    names = {name.partition("@")[0] for name in output.strip(".").split("...")}
    return _TABLE in output or not names.isdisjoint(_LONG.get(room, set()))


def _reads_a_sample(shelf: Shelf, query: str) -> bool:
    run_id = parse_qs(query).get("run", [""])[0]
    return run_id.startswith(SAMPLE) and shelf.get(run_id) is None
