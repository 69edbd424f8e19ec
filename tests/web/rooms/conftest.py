"""The page and its rooms, asked as a browser on this machine asks."""

import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import flask
import pytest
from flask.testing import FlaskClient

from tests.drawing import scene
from tracelens.web import create_app
from tracelens.web.guard import ASKED

BASE = "http://127.0.0.1:8050"


@pytest.fixture(scope="module")
def server() -> flask.Flask:
    return create_app(scene.analysis()).server


@pytest.fixture
def client(server: flask.Flask) -> FlaskClient:
    return server.test_client()


def send(client: FlaskClient, data: bytes, name: str = "run.csv", length: int | None = None) -> Any:
    """Upload a log as the room's script does; `length` is what it says instead of the truth."""
    headers = {ASKED: "open", "X-Log-Name": name, "Origin": BASE}
    said = {"CONTENT_LENGTH": str(len(data) if length is None else length)}
    return client.post(
        "/open/upload", data=data, base_url=BASE, headers=headers, environ_overrides=said
    )


def outcome(client: FlaskClient, reply: Any) -> dict[str, str]:
    """What becomes of an upload: `run`, or `problem` and `hint`."""
    assert reply.status_code == 202, reply.text
    while True:
        told = client.get(f"/open/upload/{reply.json['ticket']}", base_url=BASE).json
        if "run" in told or "problem" in told:
            return told
        time.sleep(0.02)


@pytest.fixture
def left_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[], list[Path]]:
    """The files that stand where uploads are kept."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return lambda: list(tmp_path.iterdir())
