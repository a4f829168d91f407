"""Marks give way to one another, the first never, and none leaves the picture or its place for nothing."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from routeplan.report.spread import APART, STEP, spread

SIZE = (400.0, 300.0)
#: Where there is room on every side.
SPOT = st.tuples(st.floats(35.0, SIZE[0] - 35.0), st.floats(35.0, SIZE[1] - 35.0))


@given(SPOT, SPOT)
def test_two_marks_never_hide_one_another_and_the_first_stays(
    one: tuple[float, float], two: tuple[float, float]
) -> None:
    first, second = spread([one, two], SIZE)
    assert first == one
    assert math.dist(first, second) >= APART - 1e-6
    assert math.dist(second, two) <= STEP + 1e-6
    if second != two:
        assert math.dist(one, two) < APART
        assert 0.0 <= second[0] <= SIZE[0] and 0.0 <= second[1] <= SIZE[1]


def test_marks_far_apart_stay_and_one_without_room_stays_too() -> None:
    row = [(50.0 * n, 100.0) for n in range(1, 7)]
    assert list(spread(row, SIZE)) == row
    heap = spread([(200.0, 150.0)] * 12, SIZE)
    assert len(heap) == 12 and heap[-1] == (200.0, 150.0) and len(set(heap)) == 9
