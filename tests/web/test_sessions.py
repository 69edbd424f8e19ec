"""Fifty readers at once, each with a run and a window of their own, are answered as if alone."""

import json
import random
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import flask
import pytest

from tests.drawing import scene
from tests.drawing.scene import MS
from tests.web.rooms.conftest import BASE, outcome, send
from tracelens.web import create_app, ids
from tracelens.web.moves import View
from tracelens.web.rooms.classroom.examples import examples
from tracelens.web.rooms.classroom.link import pack

SIZES = {name: [1100, 300] for name in (ids.STRIP, ids.SCHEDULE, ids.JOB_FIGURE, ids.PANEL_FIGURE)}


@pytest.fixture(scope="module")
def server() -> flask.Flask:
    return create_app(scene.analysis(6), scene.analysis(20)).server


class Reader:
    """One session: it asks for callbacks by what they write, as the page's script does."""

    def __init__(self, server: flask.Flask, known: dict[str, Any] | None = None) -> None:
        self.client = server.test_client()
        self.known = known or {
            prefix: self.client.get(f"{prefix}_dash-dependencies", base_url=BASE).json
            for prefix in ("/", "/classroom/", "/two/", "/repair/")
        }

    def ask(self, prefix: str, output: str, props: dict[str, Any], changed: str) -> str:
        """The reply of the callback that writes `output`, given the values of its inputs."""
        told = next(c for c in self.known[prefix] if output in _names(c["output"]))
        body = {
            "output": told["output"],
            "outputs": _outputs(told["output"]),
            "inputs": [_with_value(one, props) for one in told["inputs"]],
            "state": [_with_value(one, props) for one in told.get("state", [])],
            "changedPropIds": [changed],
        }
        reply = self.client.post(
            f"{prefix}_dash-update-component", json=body, base_url=BASE, headers={"Origin": BASE}
        )
        assert reply.status_code == 200, reply.text
        return reply.text


def _names(output: str) -> list[str]:
    return output.strip(".").split("...")


def _outputs(output: str) -> Any:
    parts = [
        dict(zip(("id", "property"), name.rsplit(".", 1), strict=True)) for name in _names(output)
    ]
    return parts if output.startswith("..") else parts[0]


def _with_value(one: dict[str, Any], props: dict[str, Any]) -> dict[str, Any]:
    return {**one, "value": props.get(f"{one['id']}.{one['property']}")}


def questions(run_ids: dict[str, int], seed: int) -> list[tuple[str, str, dict[str, Any], str]]:
    """What one reader asks, at random: windows, jobs, and the rooms."""
    draw = random.Random(seed)
    asked = []
    for _ in range(1 + seed % 2):
        run_id, cycles = draw.choice(sorted(run_ids.items()))
        start = draw.randrange(cycles * 9) * MS
        view = View(start, start + draw.choice((MS, 5 * MS, 10 * MS))).stored()
        props = {
            f"{ids.VIEW}.data": view,
            f"{ids.CHOSEN}.data": draw.randrange(2 * cycles),
            f"{ids.RUN}.data": {"id": run_id, "span": cycles * 10 * MS, "name": "x"},
            f"{ids.SCREEN}.data": {"sizes": SIZES, "scheme": draw.choice(("light", "dark"))},
        }
        for output, changed in (
            (f"{ids.DRAWING}.data", ids.VIEW),
            (f"{ids.JOB_WORDS}.children", ids.CHOSEN),
            (f"{ids.STRIP}.figure", ids.SCREEN),
            (f"{ids.FINDINGS}.children", ids.RUN),
        ):
            asked.append(("/", output, props, f"{changed}.data"))
    if seed % 5:
        return asked
    other = draw.choice(sorted(run_ids))
    asked.append(
        ("/two/", "pair.data", {"address.search": f"?a={other}&b=1"}, "address.search"),
    )
    word = pack(draw.choice(list(examples().values())).exercise)
    asked.append(
        (
            "/classroom/",
            "results.children",
            {"set.data": {"word": word}, "screen.data": {"width": 900, "scheme": ""}},
            "set.data",
        )
    )
    return asked


@pytest.mark.parametrize("readers", [8, pytest.param(50, marks=pytest.mark.night)])
def test_sessions_at_once_are_each_answered_as_if_alone(server: flask.Flask, readers: int) -> None:
    uploaded = outcome(server.test_client(), send(server.test_client(), scene.log_text(9).encode()))
    run_ids = {"1": 6, "2": 20, uploaded["run"]: 9}
    asked = [questions(run_ids, seed) for seed in range(readers)]
    alone = Reader(server)
    expected = [[alone.ask(*question) for question in mine] for mine in asked]
    assert len({json.dumps(mine) for mine in expected}) > readers // 2, "they ask for many things"
    others = [Reader(server, alone.known) for _ in asked]
    with ThreadPoolExecutor(readers) as pool:
        found = list(
            pool.map(
                lambda pair: [pair[0].ask(*q) for q in pair[1]], zip(others, asked, strict=True)
            )
        )
    assert found == expected
