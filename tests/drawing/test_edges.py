"""The moments to which a measurement snaps, and labels that keep out of the way of marks."""

from tests.drawing import scene
from tests.drawing.scene import MS, US
from tracelens.drawing.labels import CHARACTER_PX, MARGIN_PX, Label, placed
from tracelens.drawing.sheet import Sheet
from tracelens.drawing.swimlanes import schedule

SHEET = Sheet(1100, 420)


def test_edges_are_those_of_blocks_and_jobs_in_the_window() -> None:
    """needle_select 3: released at 21 ms, due at 22.8, waits from 21.3 to 23.8, done at 24.2."""
    figure, _ = schedule(scene.run(), 20 * MS, 26 * MS, SHEET)
    edges = figure["edges"]
    names = [name for name, _, _ in edges["lanes"]]
    lane = names.index("needle_select")
    found = [
        (at, edges["words"][what])
        for at, where, what in zip(edges["at"], edges["lane"], edges["what"], strict=True)
        if where == lane
    ]
    assert {
        (21 * MS, "release of job 3"),
        (21_300 * US, "start of ‘waits for a lock’"),
        (22_800 * US, "deadline of job 3"),
        (23_800 * US, "end of ‘waits for a lock’"),
        (24_200 * US, "completion of job 3"),
    } <= set(found)
    assert edges["at"] == sorted(edges["at"])
    assert all(20 * MS <= at <= 26 * MS for at in edges["at"])


def test_columns_have_no_edges() -> None:
    figure, _ = schedule(scene.run(400), 0, scene.run(400).span_ns, SHEET)
    executing = [w for w in figure["edges"]["words"] if "executes" in w]
    assert executing == []


def test_a_label_stands_in_the_widest_free_stretch_of_its_block() -> None:
    label = Label(0, 100, 5.0, 20, "lock", "#000000")
    assert [at for at, _ in placed([label], {}, 1.0)] == [50]
    assert [at for at, _ in placed([label], {20: [40.0, 30.0, 0.0, 100.0]}, 1.0)] == [70]
    assert [at for at, _ in placed([label], {99: [40.0]}, 1.0)] == [50], "of another lane"
    every = [float(at) for at in range(0, 100, 20)]
    assert placed([label], {20: every}, 1.0) == []
    wide = (len("lock") * CHARACTER_PX + MARGIN_PX) / 100
    assert len(placed([label], {}, wide)) == 1
    assert placed([label], {}, wide * 0.99) == []
