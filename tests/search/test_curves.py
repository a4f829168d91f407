"""Curves of bounded curvature: they end where they should, are never shorter than can be, and turn no tighter."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from routeplan.hazards.sweep import along
from routeplan.search.curves import curve, curves_to

METRES, RADIANS = st.floats(-20.0, 20.0), st.floats(-7.0, 7.0)
POSES = st.tuples(METRES, METRES, RADIANS)
RADII = st.floats(0.4, 8.0)
Pose = tuple[float, float, float]


def ended(start: Pose, pieces: Any) -> Pose:
    """Pose at the end of pieces driven one after the other."""
    pose = start
    for piece in pieces:
        pose = along(*pose, *piece)
    return pose


def gap(one: Pose, other: Pose) -> float:
    """How far two poses lie apart, m and rad together."""
    return math.hypot(one[0] - other[0], one[1] - other[1]) + abs(math.remainder(one[2] - other[2], 2.0 * math.pi))


@given(start=POSES, goal=POSES, radius_m=RADII)
def test_a_curve_joins_its_poses_within_its_radius(start: Pose, goal: Pose, radius_m: float) -> None:
    pieces = np.zeros((3, 4))
    length_m = curve(*start, *goal, radius_m, pieces)
    assert gap(ended(start, pieces), goal) < 1e-6
    assert (pieces[:, 0] >= 0.0).all() and pieces[:, 0].sum() == pytest.approx(length_m, abs=1e-9)
    assert (np.abs(pieces[:, 1]) <= 1.0 / radius_m + 1e-12).all()
    assert length_m >= math.dist(start[:2], goal[:2]) - 1e-9
    assert length_m >= radius_m * abs(math.remainder(goal[2] - start[2], 2.0 * math.pi)) - 1e-6


@given(start=POSES, goal=POSES, radius_m=RADII)
def test_compiled_and_plain_curves_are_alike(start: Pose, goal: Pose, radius_m: float) -> None:
    compiled, plain = np.zeros((3, 4)), np.zeros((3, 4))
    python: Any = curve
    assert curve(*start, *goal, radius_m, compiled) == pytest.approx(
        python.py_func(*start, *goal, radius_m, plain), abs=1e-9
    )
    assert gap(ended(start, compiled), ended(start, plain)) < 1e-6


@given(start=POSES, goal=POSES, radius_m=RADII)
def test_no_way_of_turn_straight_turn_is_shorter(start: Pose, goal: Pose, radius_m: float) -> None:
    """Against tangents worked out from the centres of the circles, another way than the kernel's.

    Circles (a side each) of centres C and D: along alike sides the straight runs parallel to CD; across, it meets CD at
    the angle asin(2 r / |CD|).
    """
    shortest = math.inf
    for first in (1.0, -1.0):
        for last in (1.0, -1.0):
            cx, cy = start[0] - first * radius_m * math.sin(start[2]), start[1] + first * radius_m * math.cos(start[2])
            dx, dy = goal[0] - last * radius_m * math.sin(goal[2]), goal[1] + last * radius_m * math.cos(goal[2])
            apart, toward = math.hypot(dx - cx, dy - cy), math.atan2(dy - cy, dx - cx)
            assume(abs(apart - 2.0 * radius_m) > 1e-6)
            if first != last and apart < 2.0 * radius_m:
                continue
            straight = apart if first == last else math.sqrt(apart**2 - 4.0 * radius_m**2)
            way = toward if first == last else toward + first * math.asin(min(2.0 * radius_m / apart, 1.0))
            turns = (first * (way - start[2])) % (2.0 * math.pi) + (last * (goal[2] - way)) % (2.0 * math.pi)
            shortest = min(shortest, straight + radius_m * turns)
    found = curve(*start, *goal, radius_m, np.zeros((3, 4)))
    # Both may count what is within rounding of a whole turn as one or as none.
    assert found <= shortest + 1e-6
    assert math.remainder(shortest - found, 2.0 * math.pi * radius_m) == pytest.approx(0.0, abs=1e-6) or (
        found == pytest.approx(shortest, abs=1e-6)
    )


@given(pose=POSES, others=st.lists(POSES, min_size=1, max_size=5), radius_m=RADII, outward=st.booleans())
def test_many_curves_are_those_drawn_one_by_one(
    pose: Pose, others: list[Pose], radius_m: float, outward: bool
) -> None:
    lengths, pieces = np.empty(len(others)), np.empty((len(others), 3, 4))
    xs, ys, headings = np.ascontiguousarray(np.array(others).T)
    curves_to(*pose, outward, xs, ys, headings, radius_m, 0.0, lengths, pieces)
    for n, other in enumerate(others):
        start, goal = (pose, other) if outward else (other, pose)
        single = np.zeros((3, 4))
        assert lengths[n] == curve(*start, *goal, radius_m, single)
        assert np.array_equal(pieces[n], single)
