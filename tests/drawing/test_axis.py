"""Round ticks, in one unit, with few digits."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracelens.drawing.axis import round_step, ticks

SCALES = {"s": 10**9, "ms": 10**6, "µs": 10**3, "ns": 1}


@given(st.floats(1, 1e15))
def test_a_step_is_1_2_or_5_times_a_power_of_ten(least: float) -> None:
    step = round_step(least)
    assert str(step).rstrip("0") in ("1", "2", "5")
    assert least <= step <= 2.5 * least + 1


@pytest.mark.parametrize(
    ("start", "end", "labels", "title"),
    [
        (0, 12_000_000_000, ("0", "2", "4"), "s"),
        (0, 800_000_000, ("0", "100", "200"), "ms"),
        (8_120_000_000, 8_125_000_000, ("120.0", "120.5"), "ms after 8 s"),
        (8_120_400_000, 8_120_450_000, ("400", "405"), "µs after 8.12 s"),
        (500, 900, ("500", "550"), "ns"),
    ],
)
def test_labels_read_as_in_a_paper(
    start: int, end: int, labels: tuple[str, ...], title: str
) -> None:
    made = ticks(start, end, 900)
    first = next(i for i, at in enumerate(made.at) if at >= start)
    assert made.labels[first : first + len(labels)] == labels
    assert made.title == title


@given(st.integers(0, 10**14), st.integers(2_000, 10**13), st.integers(60, 2000))
def test_every_label_is_the_time_of_its_tick(start: int, width: int, length: int) -> None:
    made = ticks(start, start + width, length)
    unit, _, after = made.title.partition(" after ")
    origin = int(Decimal(after.removesuffix(" s")) * 10**9) if after else 0
    for at, label in zip(made.at, made.labels, strict=True):
        value = Decimal(label.replace("−", "-"))
        assert value * SCALES[unit] + origin == at
    assert sum(start <= at <= start + width for at in made.at) <= length // 30 + 2
