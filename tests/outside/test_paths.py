"""Paths: published and exact shortest curves, and the stretch of a lattice, through the search's own geometry."""

from __future__ import annotations

import math

import numpy as np
import pytest

from routeplan.search.curves import curve
from routeplan.search.motions import solve_motions

#: Goal (x, y, heading) from (0, 0, 0) at radius 1, length, source.
CURVES = [
    (4.0, 0.0, 0.0, 4.0, "AndrewWalker/Dubins-Curves tests/stableapi_tests.cpp, public copy"),
    (0.0, 2.0, math.pi, math.pi, "exact"),
    (0.0, 4.0, math.pi, math.pi + 2.0, "exact"),
    (1.0, 1.0, math.pi / 2, math.pi / 2, "exact"),
    (4.0, 4.0, math.pi / 2, math.pi / 2 + 3.0 * math.sqrt(2.0), "exact"),
    (0.0, 1.0, 0.0, 2.0 * math.pi + 1.0, "arithmetic"),
    (0.0, 10.0, 0.0, 11.392920, "arithmetic"),
    (10.0, 0.0, math.pi, 13.342267, "arithmetic"),
]


@pytest.mark.parametrize(("x", "y", "heading", "length", "source"), CURVES)
@pytest.mark.parametrize("radius", [1.0, 4.3])
def test_shortest_curves(x: float, y: float, heading: float, length: float, source: str, radius: float) -> None:
    pieces = np.zeros((3, 3))
    found = curve(0.0, 0.0, 0.0, radius * x, radius * y, heading, radius, pieces)
    assert found == pytest.approx(radius * length, abs=5e-6 * radius), source
    assert pieces[:, 0].sum() == pytest.approx(found, abs=1e-9)


def test_length_is_kept_when_ends_swap() -> None:
    pieces = np.zeros((3, 3))
    there = curve(0.0, 0.0, 0.3, 7.0, -2.0, 1.1, 2.0, pieces)
    back = curve(7.0, -2.0, 1.1 + math.pi, 0.0, 0.0, 0.3 + math.pi, 2.0, pieces)
    assert there == pytest.approx(back, abs=1e-9)


def test_stretch_of_sixteen_headings() -> None:
    """Between two headings a line costs at most 1 / cos(half their gap) more: 1.027486 at 13.283 deg (exact)."""
    headings = solve_motions(headings=16, cell_m=0.25, radius_m=3.0, pivots=False, pivot_arm_m=1.0).headings
    gap = float(np.diff(np.append(headings, headings[0] + 2.0 * math.pi)).max())
    assert math.degrees(gap) / 2.0 == pytest.approx(13.283, abs=0.0005)
    assert 1.0 / math.cos(gap / 2.0) == pytest.approx(1.027486, abs=5e-7)
