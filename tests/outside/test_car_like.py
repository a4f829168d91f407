"""Ways over open ground against the shortest ways of a car-like machine, by an outside library (OMPL 2.0.1).

A machine that may reverse goes no shorter than Reeds and Shepp's way, one that only goes forwards, or only backwards,
no shorter than Dubins's. A change of gear costs the search 3 m and reverse driving half as much again, so its ways are
not meant to be Reeds and Shepp's; the measure of how straight a way is drawn is Dubins's. Twenty pairs of poses a
machine are drawn by default, 200 when the environment variable ``ROUTEPLAN_FULL`` is set.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterator, Sequence

import numpy as np
import pytest
from ompl import base

from routeplan.hazards.prepare import encounter
from routeplan.hazards.terrain import build_terrain
from routeplan.machine.model import Machine
from routeplan.plan.steer import turn_radius_m
from routeplan.plan.way import Stretch, Way
from routeplan.search.anchors import Anchor
from routeplan.search.curves import curve
from routeplan.search.lattice import CheckedLattice, Found
from routeplan.search.motions import solve_motions
from routeplan.search.straighten import Motion
from tests import worlds

PAIRS = 200 if os.environ.get("ROUTEPLAN_FULL") else 20
#: What sums of floats may be off, as a share.
ROUNDING = 1e-6
#: Nine ways of ten cost at most these shares of Dubins's length, before and after they are drawn straighter, and are at
#: most this share of Reeds and Shepp's long. Of 200, least / median / 90 % / most: scissor 1.002 1.036 1.104 1.667,
#: 1.000 1.001 1.001 1.020 and 1.000 1.016 1.103 1.357; boom 0.422 1.012 1.036 2.465, 0.419 1.000 1.001 2.449 and
#: 1.000 1.048 1.202 1.593.
LATTICE_SHARE, DRAWN_SHARE, CAR_SHARE = 1.12, 1.005, 1.25

#: Goal (x, y, heading) from (0, 0, 0) at radius 1; Dubins's length, Reeds and Shepp's, source.
EXACT = [
    (0.0, 0.0, math.pi, 7.0 * math.pi / 3.0, math.pi, "three arcs on the spot, exact; from memory"),
    (0.0, 0.0, math.pi / 2.0, 6.408513, math.pi / 2.0, "arithmetic, solved two ways; exact"),
    (-1.0, 0.0, 0.0, 2.0 * math.pi + 1.0, 1.0, "straight back, exact"),
    (4.0, 0.0, 0.0, 4.0, 4.0, "AndrewWalker/Dubins-Curves tests/stableapi_tests.cpp, public copy"),
]


def length_by(space: base.StateSpace, start: Anchor, goal: Anchor) -> float:
    """Length of the shortest way between two poses in a state space of the library."""
    states = []
    for pose in (start, goal):
        state = space.allocState()
        state.setX(pose.x)
        state.setY(pose.y)
        state.setYaw(math.remainder(pose.heading, 2.0 * math.pi))
        states.append(state)
    return float(space.distance(*states))


@pytest.mark.parametrize(("x", "y", "heading", "dubins", "reeds_shepp", "source"), EXACT)
@pytest.mark.parametrize("radius", [1.0, 4.3])
def test_the_library_gives_exact_lengths(
    x: float, y: float, heading: float, dubins: float, reeds_shepp: float, source: str, radius: float
) -> None:
    start, goal = Anchor(0.0, 0.0, 0.0), Anchor(radius * x, radius * y, heading)
    assert length_by(base.DubinsStateSpace(radius), start, goal) == pytest.approx(radius * dubins, rel=1e-6), source
    found = length_by(base.ReedsSheppStateSpace(radius), start, goal)
    assert found == pytest.approx(radius * reeds_shepp, rel=1e-6), source
    assert curve(*_row(start), *_row(goal), radius, np.zeros((3, 4))) >= radius * dubins * (1.0 - ROUNDING)


def _row(pose: Anchor) -> tuple[float, float, float]:
    return pose.x, pose.y, pose.heading


def lattice_on_open_ground(machine: Machine) -> CheckedLattice:
    site, radius_m = worlds.flat_site(60.0, 60.0, machines=(machine,)), turn_radius_m(machine)
    motions = solve_motions(
        headings=16, cell_m=site.grid.cell_m, radius_m=radius_m, pivots=False, pivot_arm_m=machine.wheelbase_m
    )
    hazards = encounter(
        site, machine, configuration="stowed", travel_mode="ridden", k=3.0,
        terrain=build_terrain(site.ground, site.grid),
    ).on(None, travel_m=motions.travel_m)  # fmt: skip
    return CheckedLattice(site, hazards, motions)


def drawn_pairs(seed: int) -> Iterator[tuple[Anchor, Anchor]]:
    """Pairs of poses 2 to 30 m apart round the middle of the yard, in any direction, each with any heading."""
    rng = np.random.default_rng(seed)
    for _ in range(PAIRS):
        half, way, x, y = rng.uniform(1.0, 15.0), rng.uniform(-math.pi, math.pi), *rng.uniform(28.0, 32.0, 2)
        dx, dy = half * math.cos(way), half * math.sin(way)
        first, last = (float(heading) for heading in rng.uniform(-math.pi, math.pi, 2))
        yield Anchor(x - dx, y - dy, first), Anchor(x + dx, y + dy, last)


def driven_m(motions: Sequence[Motion]) -> float:
    return sum(float(np.abs(motion.pieces[:, 0]).sum()) for motion in motions)


def least_m(start: Anchor, goal: Anchor, gears: set[int], radius_m: float) -> float:
    """Length below which no way is that is driven in some gears."""
    if gears == {1}:
        return length_by(base.DubinsStateSpace(radius_m), start, goal)
    if gears == {-1}:
        return length_by(base.DubinsStateSpace(radius_m), goal, start)
    return length_by(base.ReedsSheppStateSpace(radius_m), start, goal)


@pytest.mark.parametrize("machine", [worlds.scissor, worlds.boom])
def test_ways_against_the_shortest_of_a_car(machine: Callable[[], Machine]) -> None:
    lattice = lattice_on_open_ground(machine())
    radius_m = lattice.motions.turns[0].radius_m
    dubins, reeds_shepp = base.DubinsStateSpace(radius_m), base.ReedsSheppStateSpace(radius_m)
    on_lattice, drawn, of_a_car = [], [], []
    for start, goal in drawn_pairs(20261124):
        found = lattice.find([lattice.add_anchor(start)], [lattice.add_anchor(goal)])
        assert isinstance(found, Found), (start, goal)
        way = Way((Stretch(found.motions, lattice),), found.cost_m, found.cost_m, found.bound_m).straighter()
        gears = {motion.gear for motion in way.motions if driven_m([motion]) > 0.0}
        for motions in (found.motions, way.motions):
            least = least_m(start, goal, gears, radius_m)
            assert driven_m(motions) >= least * (1.0 - ROUNDING), (start, goal)
        forward_m = length_by(dubins, start, goal)
        on_lattice.append(found.cost_m / forward_m)
        drawn.append(way.cost_m / forward_m)
        of_a_car.append(driven_m(way.motions) / length_by(reeds_shepp, start, goal))
    for shares, most in ((on_lattice, LATTICE_SHARE), (drawn, DRAWN_SHARE), (of_a_car, CAR_SHARE)):
        assert np.quantile(shares, 0.9) <= most, np.quantile(shares, [0.0, 0.5, 0.9, 1.0])
