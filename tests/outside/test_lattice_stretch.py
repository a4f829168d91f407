"""A best way over open, level ground costs no less than the straight line, no more than the lattice's known stretch."""

from __future__ import annotations

import math

import pytest

from routeplan.hazards.prepare import encounter
from routeplan.hazards.terrain import build_terrain
from routeplan.search.anchors import Anchor
from routeplan.search.lattice import CheckedLattice, Found
from routeplan.search.motions import solve_motions
from tests import worlds

#: Worst-case stretch of sixteen directions, 1 / cos(13.283 deg), and the least of straight lines (exact).
STRETCH = 1.027486
LENGTH_M = 24.0
#: A way that is not along a lattice heading turns onto one and off again: a few centimetres of arc.
TURNS_M = 0.15


@pytest.fixture(scope="module")
def lattice() -> CheckedLattice:
    machine = worlds.scissor()
    site = worlds.flat_site(machines=(machine,))
    motions = solve_motions(headings=16, cell_m=site.grid.cell_m, radius_m=2.0, pivots=False, pivot_arm_m=2.0)
    hazards = encounter(
        site, machine, configuration="stowed", travel_mode="ridden", k=3.0,
        terrain=build_terrain(site.ground, site.grid),
    ).on(None, travel_m=motions.travel_m)  # fmt: skip
    return CheckedLattice(site, hazards, motions)


@pytest.mark.parametrize("direction_deg", [0.0, 6.0, 13.283, 20.0, 26.565, 35.783, 45.0])
def test_stretch_of_a_straight_drive(lattice: CheckedLattice, direction_deg: float) -> None:
    heading = math.radians(direction_deg)
    start = lattice.add_anchor(Anchor(6.0, 6.0, heading))
    goal = lattice.add_anchor(Anchor(6.0 + LENGTH_M * math.cos(heading), 6.0 + LENGTH_M * math.sin(heading), heading))
    found = lattice.find([start], [goal])
    assert isinstance(found, Found)
    assert LENGTH_M - 1e-3 <= found.cost_m <= STRETCH * LENGTH_M + TURNS_M
