"""Marks of the application: values, points, and what is a phase's edge."""

from tests import frames
from tracelens.measures.marks import marks
from tracelens.measures.stack import stack_marks


def test_values_points_and_edges() -> None:
    run = frames.timeline(
        span_ns=100,
        events="5,0,mark,tension,-1.5\n1,0,mark,tension,1e3\n6,0,mark,row,begin\n7,0,mark,here,\n"
        "8,0,mark,odd,nan\n9,0,mark,row,end",
    )
    assert marks(run.log).rows() == [
        ("tension", 1, 1000.0),
        ("tension", 5, -1.5),
        ("here", 7, None),
        ("odd", 8, None),
    ]


def test_stack_marks_that_are_no_number_say_nothing() -> None:
    run = frames.timeline(
        span_ns=100, events="5,0,stack,a,40\n6,0,stack,a,much\n7,0,stack,b,30\n95,0,stack,a,10"
    )
    assert stack_marks(run, ((0, 90),)).rows() == [("a", 5, 40), ("b", 7, 30)]
