"""Not over-careful: a corridor and a door that leave 0.15 m beyond what is asked for are driven, wherever they lie.

What is asked for on each side: the structure's clearance (or the body's gap beside people), and the driving tolerance,
sideways and in heading, at the part of the body that it moves most. All 36 bearings run when the environment variable
``ROUTEPLAN_FULL`` is set, nine of them by default.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from shapely import affinity
from shapely.geometry import box

from routeplan.machine.model import Machine
from routeplan.plan.whole import plan_site
from routeplan.site.model import Obstacle, Site, Thresholds
from tests import worlds

BEARINGS_DEG = range(0, 360, 10 if os.environ.get("ROUTEPLAN_FULL") else 40)
SPARE_M = 0.15
SIDE_M = 64.0
LIMITS = Thresholds()


def width_wanted_m(machine: Machine) -> float:
    """Width that a straight drive of the machine wants, ridden, m."""
    turn = math.radians(LIMITS.heading_tolerance_deg)
    return max(
        2.0 * (abs(eta) * math.cos(turn) + abs(xi) * math.sin(turn) + LIMITS.lateral_tolerance_m)
        + 2.0 * (LIMITS.body_gap_m if part.occupied else LIMITS.structure_clearance_m)
        for part in machine.configurations["stowed"].boxes
        for xi, eta in part.ring
    )


def walled(machine: Machine, *, bearing_deg: float, length_m: float, spare_m: float) -> Site:
    """A yard cut in two by a wall as thick as ``length_m``, with one gap through it at a bearing and a drawn offset."""
    half_m = (width_wanted_m(machine) + spare_m) / 2.0
    x, y = SIDE_M / 2 + np.random.default_rng(int(bearing_deg)).uniform(-0.5, 0.5, 2)
    yard, heading = box(-1.0, -1.0, SIDE_M + 1.0, SIDE_M + 1.0), math.radians(90.0 - bearing_deg)
    walls = [
        affinity.translate(affinity.rotate(wall, heading, origin=(0, 0), use_radians=True), x, y).intersection(yard)
        for wall in (box(-length_m / 2, half_m, length_m / 2, 99.0), box(-length_m / 2, -99.0, length_m / 2, -half_m))
    ]
    away = length_m / 2 + 14.0
    ends = [(x + sign * away * math.cos(heading), y + sign * away * math.sin(heading)) for sign in (-1, 1)]
    return worlds.flat_site(
        SIDE_M, SIDE_M, machines=(machine,), moves=(worlds.wanted(machine.id, "a", "b"),),
        places=tuple(worlds.place(name, *end) for name, end in zip("ab", ends, strict=True)),
        obstacles=tuple(Obstacle(f"wall-{n}", wall, "wall", None) for n, wall in enumerate(walls)),
    )  # fmt: skip


@pytest.mark.parametrize("length_m", [20.0, 0.3], ids=["corridor", "door"])
@pytest.mark.parametrize("machine", [worlds.scissor, worlds.boom])
@pytest.mark.parametrize("bearing_deg", BEARINGS_DEG)
def test_a_narrow_way_is_driven(bearing_deg: int, machine: Callable[[], Machine], length_m: float) -> None:
    site = walled(machine(), bearing_deg=bearing_deg, length_m=length_m, spare_m=SPARE_M)
    (move,) = plan_site(site, issued="2026-11-24T12:00:00+00:00").moves
    assert move.verdict in ("pass", "pass with controls") and move.refused is None, move.reason


@pytest.mark.parametrize("bearing_deg", [0, 25])
def test_a_way_too_narrow_is_not(bearing_deg: int) -> None:
    site = walled(worlds.scissor(), bearing_deg=bearing_deg, length_m=20.0, spare_m=-0.01)
    (move,) = plan_site(site, issued="2026-11-24T12:00:00+00:00").moves
    assert move.verdict == "no route"


@pytest.mark.parametrize("fall", [0.04, -0.04])
def test_a_door_on_a_side_slope_is_driven_off_its_middle(fall: float) -> None:
    """On 4 % the top leans by more than half of what is spare towards one side, and not at all towards the other."""
    site = walled(worlds.scissor(), bearing_deg=25, length_m=0.3, spare_m=SPARE_M)
    y, x = np.mgrid[0.0 : SIDE_M + 0.1 : 0.25, 0.0 : SIDE_M + 0.1 : 0.25]
    across = x * math.cos(math.radians(25)) - y * math.sin(math.radians(25))
    (move,) = plan_site(
        replace(site, ground=replace(site.ground, z=fall * across)), issued="2026-11-24T12:00:00+00:00"
    ).moves
    assert move.verdict in ("pass", "pass with controls") and move.refused is None, move.reason
