"""Which lanes are left, in which order, and what becomes of the quiet ones."""

import pytest

from tests.drawing import scene
from tests.drawing.scene import MS, TAG
from tracelens.drawing.choice import Choice, choose
from tracelens.drawing.sheet import Sheet
from tracelens.drawing.swimlanes import schedule

SHEET = Sheet(1100, 420)
EVERY = ["carriage_encoder", "needle_select", "link", TAG, "archive", "idle", "main", "flash_bus"]


@pytest.mark.parametrize(
    ("choice", "names"),
    [
        (Choice(), EVERY),
        (Choice(find="NEEDLE flash"), ["needle_select", "flash_bus"]),
        (Choice(find="x"), []),
        (Choice(without=["task", "core"]), ["carriage_encoder", "flash_bus"]),
        (
            Choice(find="a", first=["flash_bus", "archive", "nobody"]),
            ["flash_bus", "archive", "carriage_encoder", TAG, "main"],
        ),
        (Choice(without=["isr", "core", "lock"], order="name"),
         [TAG, "archive", "idle", "link", "needle_select"]),
        (Choice(find="i l", without=["isr", "core", "lock", "queue"], order="busy"),
         ["idle", "archive", "link", "needle_select", TAG]),
    ],
)  # fmt: skip
def test_lanes_are_found_left_out_put_first_and_ordered(choice: Choice, names: list[str]) -> None:
    shown = choose(scene.run().lanes, choice, 0, 60 * MS)
    assert [lane.name for lane in shown.lanes] == names
    assert shown.folded == ()


def test_lanes_with_nothing_in_the_window_are_one_line_that_counts_them() -> None:
    """From 5 to 6.5 ms of an even cycle only the idle task runs: scene.LATE."""
    choice = Choice(fold=True)
    shown = choose(scene.run().lanes, choice, 25 * MS, 26_500_000)
    assert [lane.name for lane in shown.lanes] == ["idle", "main"]
    figure, arrangement = schedule(scene.run(), 25 * MS, 26_500_000, SHEET, choice=choice)
    assert arrangement.total == 2
    said = [a["text"] for a in figure["layout"]["annotations"]]
    assert any(text.startswith("6 lanes with nothing in this window: carriage_") for text in said)
    assert "<script" not in str(figure["data"]) + str(figure["layout"])


def test_without_a_lane_the_schedule_says_why() -> None:
    figure, _ = schedule(scene.run(), 0, 60 * MS, SHEET, choice=Choice(find="nobody"))
    said = [a["text"] for a in figure["layout"]["annotations"]]
    assert any(text.startswith("No lane is left") for text in said)


def test_lanes_put_first_stand_under_a_heading_of_their_own() -> None:
    figure, arrangement = schedule(
        scene.run(), 0, 6 * MS, SHEET, choice=Choice(first=["flash_bus", "link"])
    )
    assert [text for text, _ in arrangement.captions][:2] == ["kept on top", "interrupts"]
    assert figure["layout"]["yaxis"]["ticktext"][:2] == ["flash_bus", "link · 4"]
