"""Logs opened from the page: read, or refused in one line, and never left on the disk."""

import gzip
import io
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from urllib.parse import quote

import pytest
import zstandard
from flask.testing import FlaskClient

from tests.drawing import scene
from tests.web.rooms.conftest import BASE, outcome, send
from tests.web.test_sessions import Reader
from tracelens.errors import UsageError
from tracelens.samples import samples
from tracelens.web import create_app, loading
from tracelens.web.guard import ASKED
from tracelens.web.rooms import open_log
from tracelens.web.rooms.repair import replaying
from tracelens.web.shelf import Shelf

LOG = scene.log_text(2).encode()


@pytest.mark.parametrize(
    "packed", [bytes, gzip.compress, zstandard.compress], ids=["plain", "gzip", "zstandard"]
)
def test_an_upload_becomes_a_run(client: FlaskClient, left_behind, packed) -> None:
    told = outcome(client, send(client, packed(LOG), "knitting.csv"))
    assert client.get("/", query_string={"run": told["run"]}, base_url=BASE).status_code == 200
    assert left_behind() == []


@pytest.mark.parametrize(
    ("data", "name", "problem"),
    [
        (b"", "empty.csv", "empty.csv: the file is empty"),
        (b"\x89PNG\r\n\x1a\n" + bytes(200), "picture.csv", "picture.csv:1: not an event log"),
        (gzip.compress(b""), "run.csv.gz", "run.csv.gz: the file is empty"),
        (LOG[: LOG.index(b"#clock")], "no_clock.csv", "no_clock.csv"),
    ],
    # Of the bytes pytest would make other names in each worker: gzip writes the time into them.
    ids=["empty", "picture", "packed_empty", "no_clock"],
)
def test_what_is_no_log_is_refused_in_one_line_with_a_hint(
    client: FlaskClient, left_behind, data: bytes, name: str, problem: str
) -> None:
    told = outcome(client, send(client, data, name))
    assert told["problem"].startswith(problem)
    assert "\n" not in told["problem"]
    assert told["hint"]
    assert left_behind() == []


@pytest.mark.parametrize("packed", [gzip.compress, zstandard.compress], ids=["gzip", "zstandard"])
def test_a_small_file_that_unpacks_to_a_huge_one_is_refused(
    monkeypatch: pytest.MonkeyPatch, client: FlaskClient, packed
) -> None:
    monkeypatch.setattr(loading, "MOST_LOG", 1 << 20)
    bomb = packed(LOG + bytes(16 << 20))
    assert len(bomb) < 1 << 16
    told = outcome(client, send(client, bomb, "bomb.csv"))
    assert told["problem"].startswith("bomb.csv: the log is too long: found more than 1 MB")


def test_an_upload_that_is_too_long_is_refused_before_it_is_read(client: FlaskClient) -> None:
    reply = send(client, b"", length=10**12)
    assert reply.status_code == 413
    assert "expected at most 512 MB" in reply.json["problem"]


def test_an_upload_that_breaks_off_leaves_nothing(client: FlaskClient, left_behind) -> None:
    reply = send(client, b"#tracelens 1\n", length=5000)
    assert reply.status_code == 400
    assert "broke off" in reply.json["problem"]
    assert left_behind() == []


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Origin": "http://127.0.0.1:3000", ASKED: "open"}, 403),
        ({"Origin": "http://elsewhere.example", ASKED: "open"}, 403),
        ({"Origin": BASE}, 403),
        ({}, 403),
    ],
)
def test_nobody_else_may_send_a_log(client: FlaskClient, headers: dict, status: int) -> None:
    """Another page of this machine may not either; a form cannot set the header."""
    reply = client.post("/open/upload", data=LOG, base_url=BASE, headers=headers)
    assert reply.status_code == status


@pytest.mark.parametrize(
    "name",
    ["../../etc/passwd", "<script>alert(1)</script>.csv", "n" * 9000, "a\r\nb\u202e.csv", ""],
)
def test_a_name_is_a_word_in_messages_and_never_a_path(
    client: FlaskClient, left_behind, name: str
) -> None:
    told = outcome(client, send(client, b"?", quote(name)))
    place = told["problem"].partition(": ")[0]
    assert len(place) < 200
    assert "\n" not in place
    assert "../" not in place
    assert left_behind() == []


@pytest.mark.parametrize("run", ["", "nobody", "../../etc/passwd", "sample:../x", "1.9", "%00"])
def test_a_run_that_is_not_here_leads_to_where_one_is_opened(client: FlaskClient, run: str) -> None:
    reply = client.get("/", query_string={"run": run}, base_url=BASE)
    # An empty name is none: the page opens on its first run.
    assert reply.status_code == (200 if run == "" else 302)
    if run:
        assert reply.headers["Location"] == "/open/?gone=1"
        page = client.get(reply.headers["Location"], base_url=BASE).text
        assert "is not here any more" in page


def test_every_sample_is_listed_with_what_it_shows(client: FlaskClient) -> None:
    page = client.get("/open/", base_url=BASE).text
    assert len(samples()) > 30
    for sample in samples():
        assert f">{sample.name}</a>" in page
        assert len(sample.about) > 20
    root = Path(__file__).parents[3] / "sample_traces"
    assert {sample.log.stem.partition(".")[0] for sample in samples()} == {
        path.name.partition(".")[0] for path in root.rglob("*.csv*")
    }


def test_a_sample_opens_by_its_address_alone(client: FlaskClient) -> None:
    query = {"run": "sample:three_tasks_none"}
    assert client.get("/", query_string=query, base_url=BASE).status_code == 200


@pytest.mark.parametrize(
    "path", ["/assets/../app.py", "/assets/%2e%2e/app.py", "/assets/..%2fapp.py", "/open/../app.py"]
)
def test_no_path_leads_out_of_the_assets(client: FlaskClient, path: str) -> None:
    reply = client.get(path, base_url=BASE)
    assert "create_app" not in reply.text


@pytest.mark.parametrize("ticket", ["x", "..", "%00", "a" * 5000])
def test_an_unknown_ticket_says_so(client: FlaskClient, ticket: str) -> None:
    reply = client.get(f"/open/upload/{quote(ticket, safe='')}", base_url=BASE)
    assert reply.status_code == 404


def test_the_other_side_of_two_runs_is_kept_in_the_links(client: FlaskClient) -> None:
    page = client.get("/open/?side=b&other=%22%3E%3Cscript%3E", base_url=BASE).text
    assert "<script>" not in page
    assert "/two/?b=sample" in page


def test_uploads_at_once_are_all_read_and_too_many_are_refused(
    monkeypatch: pytest.MonkeyPatch, client: FlaskClient
) -> None:
    replies = [send(client, LOG, f"run{number}.csv") for number in range(4)]
    runs = [outcome(client, reply)["run"] for reply in replies]
    assert len(set(runs)) == 4
    monkeypatch.setattr(loading, "MOST_WAITING", 0)
    refused = send(client, LOG)
    assert refused.status_code == 503
    assert "too many logs wait" in refused.json["problem"]


def test_of_large_logs_one_is_read_at_a_time(
    monkeypatch: pytest.MonkeyPatch, client: FlaskClient
) -> None:
    monkeypatch.setattr(loading, "LARGE", 1000)
    at_once, most = [], []
    real = loading.read_bytes

    def watched(*told, **how):
        at_once.append(1)
        most.append(len(at_once))
        try:
            return real(*told, **how)
        finally:
            at_once.pop()

    monkeypatch.setattr(loading, "read_bytes", watched)
    replies = [send(client, LOG, f"run{number}.csv") for number in range(4)]
    assert all("run" in outcome(client, reply) for reply in replies)
    assert most == [1] * 4


def test_a_log_is_read_while_a_replay_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """However long it takes, and however many wait for it."""
    go = threading.Event()
    begun = threading.Event()

    def waits(*_told: object) -> None:
        begun.set()
        assert go.wait(60)
        raise UsageError("enough")

    monkeypatch.setattr(replaying, "replay", waits)
    server = create_app(scene.analysis()).server
    reader = Reader(server)
    for factor in range(1, 1 + loading.MOST_WAITING):
        asked = {"run": "1", "changes": [["clock", f"0.{factor}"]], "window": {}}
        reader.ask("/repair/", "ticket.data", {"asked.data": asked}, "asked.data")
    assert begun.wait(60)
    client = server.test_client()
    assert "run" in outcome(client, send(client, LOG))
    go.set()


def test_a_sample_that_many_ask_for_is_read_once(monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[object] = []
    real = loading.prepared
    monkeypatch.setattr(loading, "prepared", lambda run: read.append(run) or real(run))
    shelf = Shelf()
    with ThreadPoolExecutor(8) as pool:
        runs = set(pool.map(lambda _: loading.find(shelf, "sample:three_tasks_none"), range(8)))
    assert len(runs) == len(read) == 1


def test_what_breaks_off_is_no_full_disk_and_a_full_disk_is_one(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Gone(io.RawIOBase):
        """A body whose client is gone, as the socket says it."""

        def tell(self) -> int:
            return 0

        def seek(self, *_where: int) -> int:
            return 0

        def readinto(self, _buffer: object) -> int:
            raise ConnectionResetError(104, "Connection reset by peer")

    headers = {ASKED: "open", "X-Log-Name": "run.csv"}
    reply = client.post(
        "/open/upload", base_url=BASE, headers=headers, input_stream=Gone(),
        environ_overrides={"CONTENT_LENGTH": "5000"},
    )  # fmt: skip
    assert reply.status_code == 400
    assert "broke off" in reply.json["problem"]

    def full(*_told: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(open_log.tempfile, "TemporaryFile", full)
    reply = send(client, LOG, "run.csv")
    assert reply.status_code == 507
    assert reply.json == {
        "problem": "run.csv: cannot be kept: No space left on device",
        "hint": "make room on disk",
    }


def test_a_fault_while_reading_is_said_and_leaves_nothing(
    monkeypatch: pytest.MonkeyPatch, client: FlaskClient, left_behind
) -> None:
    def too_long(*_args: object, **_how: object) -> None:
        raise MemoryError

    monkeypatch.setattr(loading, "read_bytes", too_long)
    told = outcome(client, send(client, LOG, "run.csv"))
    assert told["problem"] == "run.csv: too long for the memory of this machine"
    assert left_behind() == []
