"""The room of a history: what its address asks for, what stands in it, and when it is read."""

import json
from pathlib import Path

import pytest

from tests.drawing.scene import TAG
from tests.history.past import put
from tests.web.rooms.conftest import BASE
from tests.web.test_sessions import Reader
from tracelens.cli.main import main
from tracelens.errors import InputError
from tracelens.plain import plain
from tracelens.web import create_app
from tracelens.web.rooms.past import layout, tables
from tracelens.web.rooms.past.asked import Asked, asked
from tracelens.web.rooms.past.folder import Folder


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Folder:
    return Folder(put(tmp_path_factory.mktemp("past") / "nightly"))


@pytest.fixture(scope="module")
def reader(folder: Folder) -> Reader:
    server = create_app(history=folder.path).server
    client = server.test_client()
    return Reader(
        server, {"/history/": client.get("/history/_dash-dependencies", base_url=BASE).json}
    )


@pytest.mark.parametrize(
    "wanted",
    [
        Asked(),
        Asked("response", "a & b=c", (("board", "x=1&y"), ("build", "ü?")), "time"),
        Asked(where=(("board", TAG),)),
        Asked(last=20),
    ],
)
def test_an_address_brings_back_what_it_was_made_of(wanted: Asked) -> None:
    assert asked(wanted.link().partition("?")[2]) == wanted


@pytest.mark.parametrize(
    "search",
    [
        None,
        "",
        "?",
        "?where=board&where==x",
        "?by=x",
        "?folder=/etc&dir=/etc",
        "?of=pump",
        "?last=0",
        "?last=-3",
        "?last=all",
        "?last=٣",
    ],
)
def test_what_makes_no_sense_in_an_address_is_left_out(search: str | None) -> None:
    assert asked(search).where == ()
    assert asked(search).link() == "/history/"


def test_the_surest_change_is_first_and_shown(folder: Folder) -> None:
    look = folder.look()
    chosen = Asked().chosen(look)
    assert (chosen["subject"], chosen["shape"]) == ("pump", "step")
    assert "before build k12" in str(layout.said(look, chosen, Asked()))
    listed = str(tables.measures(look, Asked(), chosen))
    assert listed.index("response time of pump") < listed.index("response time of link")
    assert "step, worse" in listed
    other = Asked("response", "link")
    assert "no change beyond noise" in str(layout.said(look, other.chosen(look), other))
    gone = Asked("response", "pomp")
    assert "No response of pomp in these runs." in str(layout.said(look, chosen, gone))


def test_keys_that_group_runs_are_filters_and_each_says_how_many(folder: Folder) -> None:
    told = str(layout.filters(folder.look(), Asked()))
    assert "a.1 (10)" in told
    assert f"{plain(TAG)} (10)" in told
    assert "k12" not in told
    build = str(layout.filters(folder.look(), Asked(where=(("build", "k12"),))))
    assert "k12 (1)" in build
    assert "k13" not in build


def test_the_newest_runs_can_be_looked_at_alone(folder: Folder) -> None:
    offered = str(layout.filters(folder.look(), Asked()))
    assert "last=10" in offered
    assert "last=20" not in offered, "there are no more"
    look = folder.look(last=5)
    assert look.history.runs["run"].to_list() == folder.look().history.runs["run"].to_list()[-5:]
    assert "last=5" in str(layout.filters(folder.look(), Asked(last=5)))
    assert "last" not in str(layout.filters(Folder(folder.path).look(last=9), Asked()))


def test_the_runs_stand_newest_first_and_the_step_is_marked(folder: Folder) -> None:
    look = folder.look()
    rows = tables.runs(look, Asked().chosen(look))[1].children.children[1].children
    assert len(rows) == 20
    assert "19.csv" in str(rows[0])
    assert ["◆" in str(row) for row in rows].index(True) == 19 - 12
    taken = tables.taken(look, Asked().chosen(look))
    assert taken["run_keys"][0] == "build=k0 board=a.1"


def test_of_few_runs_nothing_is_said(tmp_path: Path) -> None:
    look = Folder(put(tmp_path, runs=3)).look()
    filters = str(layout.filters(look, Asked()))
    assert "a.1 (2)" in filters
    assert "k0" not in filters, "each run has a build of its own"
    chosen = Asked().chosen(look)
    assert "nothing is said: that takes 8" in str(layout.said(look, chosen, Asked()))
    assert "–" in str(tables.measures(look, Asked(), chosen))


def test_a_run_that_is_added_is_read(tmp_path: Path) -> None:
    folder = Folder(tmp_path / "nightly")
    assert folder.stamp() == ""
    with pytest.raises(InputError) as none:
        folder.look()
    assert "tracelens history add" in str(layout.missing(folder, none.value, Asked()))
    put(folder.path, runs=2)
    stamp = folder.stamp()
    assert folder.look() is folder.look()
    assert folder.look().history.runs.height == 2
    put(folder.path, runs=3)
    assert folder.stamp() != stamp
    assert folder.look().history.runs.height == 3


def test_the_room_answers_what_its_address_asks(reader: Reader) -> None:
    search = Asked("load", "pump", (("board", "a.1"),)).link().removeprefix("/history/")
    props = {
        "address.search": search,
        "screen.data": {"width": 800, "scheme": "dark"},
    }
    assert "over 10 runs" in reader.ask("/history/", "verdict.children", props, "address.search")
    told = json.loads(reader.ask("/history/", "course.figure", props, "address.search"))
    made = told["response"]["course"]["figure"]
    assert made["layout"]["meta"] == {"file": "nightly-load-pump"}
    assert len(made["data"][-1]["x"]) == 10
    none = {"address.search": "?where=board%3Dc"}
    reply = reader.ask("/history/", "verdict.children", none, "address.search")
    assert "has board=c" in reply
    assert "All runs of this history" in reply


def test_a_directory_comes_from_the_command_line_alone(folder: Folder, capsys) -> None:
    without = create_app().server.test_client()
    asked_for = without.get(f"/history/?history={folder.path}", base_url=BASE)
    assert b"history \xe2\x80\x93 tracelens" not in asked_for.data
    assert b"/history/" not in without.get("/open/", base_url=BASE).data
    client = create_app(history=folder.path).server.test_client()
    assert client.get("/", base_url=BASE).location == "/history/"
    assert b"/history/" in client.get("/open/", base_url=BASE).data
    assert main(["serve", "--port", "0", "--history", str(folder.path / "none")]) == 3
    assert "no such history" in capsys.readouterr().err
