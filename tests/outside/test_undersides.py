"""Undersides at crests and ramp feet, by plane geometry: a machine grounds on a crest whose planes turn by more than
2 atan(2c / L), and an end a beyond an axle strikes a foot steeper than atan(h / a) (both worked out here).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from routeplan.hazards.tile import BLOCKED
from routeplan.machine.model import Machine
from routeplan.recheck.opinion import look
from routeplan.route.model import Conditions, Move
from routeplan.site.model import Site, Thresholds
from tests import worlds
from tests.hazards.test_closer import looked_at
from tests.recheck.drives import certain, drive, move_of, yard_for

Floats = NDArray[np.float64]

#: Driven exactly on its line, to nothing but touching.
EXACT = Thresholds(
    lateral_tolerance_m=0.0, heading_tolerance_deg=0.0, ground_clearance_m=0.0, bounce_limit_m=9.0, head_gap_m=0.0,
)  # fmt: skip
#: Wheels as small as points, and ratings that no ground here reaches.
POINTS: dict[str, Any] = {
    "wheel_radius_m": 0.001, "gradeability_basket_uphill_pct": 90.0, "gradeability_basket_downhill_pct": 90.0,
}  # fmt: skip
#: Where the planes meet, on a line of the raster.
EDGE_M = 20.0


def planes(west: float, east: float) -> Floats:
    """Two planes that meet at EDGE_M, by their slopes going east."""
    x = np.broadcast_to(np.arange(161) * 0.25 - EDGE_M, (121, 161))
    return np.where(x < 0.0, west * x, east * x)


def ground_of(machine: Machine, z: Floats, first: float, length: float, *, turned: bool) -> tuple[Move, Site]:
    """A drive over the edge from the origin's first chainage on, either way round, on levels as good as exact."""
    heading, at = (math.pi, EDGE_M - first) if turned else (0.0, EDGE_M + first)
    poses = drive(at, 15.0, heading, [(length, 0.0)], step_m=0.05)
    return move_of(poses, machine), certain(yard_for(poses, machine, z=z, thresholds=EXACT))


def least_m(move: Move, site: Site) -> float:
    """Least margin of an underside by the second opinion."""
    machine = site.machines[move.machine]
    ledger = look(move, site=site, machine=machine, conditions=Conditions()).ledger
    return ledger.least_margin["ground strike"].margin


def passed_by_the_search(site: Site, first: float, length: float, *, turned: bool) -> bool:
    heading, at = (math.pi, EDGE_M - first) if turned else (0.0, EDGE_M + first)
    start, piece = np.array([[at, 15.0, heading]]), np.array([[[length, 0.0, 0.0, 0.0]]])
    return bool(looked_at(site, start, piece, closer=True)[1][0] != BLOCKED)


#: Clearance and wheelbase, m, and the turn that grounds them, degrees: an indoor and a rough-terrain scissor.
CRESTS = [(0.060, 1.32, 10.4), (0.240, 2.29, 23.7)]


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize(("clearance_m", "wheelbase_m", "turn_deg"), CRESTS)
def test_a_crest_grounds_a_machine_whose_planes_turn_by_more(
    clearance_m: float, wheelbase_m: float, turn_deg: float, turned: bool
) -> None:
    """Either way round; half way between the axles, by a millimetre."""
    assert math.degrees(2.0 * math.atan(2.0 * clearance_m / wheelbase_m)) == pytest.approx(turn_deg, abs=0.05)
    machine = worlds.scissor(ground_clearance_m=clearance_m, wheelbase_m=wheelbase_m, **POINTS)
    first = -wheelbase_m / 2.0 - 0.5
    for spare_m in (0.001, -0.001):
        slope = 2.0 * (clearance_m - spare_m) / wheelbase_m
        move, site = ground_of(machine, planes(slope, -slope), first, 1.0, turned=turned)
        assert least_m(move, site) == pytest.approx(spare_m, abs=0.0005)
        if spare_m < 0.0:
            assert not passed_by_the_search(site, first, 1.0, turned=turned)
    slope = 2.0 * (clearance_m - 0.02) / wheelbase_m
    _, site = ground_of(machine, planes(slope, -slope), first, 1.0, turned=turned)
    assert passed_by_the_search(site, first, 1.0, turned=turned)


#: How far an end is beyond its axle, m, and which end: of the test boom the basket and the rear of the chassis.
ENDS: list[Any] = [
    pytest.param(4.60, "front", id="basket"), pytest.param(0.70, "rear", id="rear of the chassis"),
]  # fmt: skip


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize(("beyond_m", "end"), ENDS)
def test_an_end_strikes_a_foot_that_rises_by_more_than_its_height(beyond_m: float, end: str, turned: bool) -> None:
    """h = a tan(theta): 0.35 m high and 4.5 m beyond is only 4.4 deg. Turned round its other end meets the foot."""
    assert math.degrees(math.atan(0.35 / 4.5)) == pytest.approx(4.4, abs=0.05)
    machine = worlds.boom(oscillating=None, **POINTS)
    foot_ahead = (end == "front") is not turned  # which side of the edge rises, seen going east
    axle = machine.wheelbase_m if end == "front" else 0.0
    # To the foot with that axle and no farther; the other end goes away from the rise or stands on the level.
    first, length = (-axle - 0.5, 0.5) if end == "front" else (0.5 - axle, -0.5)
    for spare_m in (0.001, -0.001):
        slope = (0.35 - spare_m) / beyond_m
        z = planes(0.0, slope) if foot_ahead else planes(-slope, 0.0)
        move, site = ground_of(machine, z, first, length, turned=turned)
        assert least_m(move, site) == pytest.approx(spare_m, abs=0.0005)
        if spare_m < 0.0:
            assert not passed_by_the_search(site, first, length, turned=turned)
    slope = 0.32 / beyond_m
    z = planes(0.0, slope) if foot_ahead else planes(-slope, 0.0)
    _, site = ground_of(machine, z, first, length, turned=turned)
    assert passed_by_the_search(site, first, length, turned=turned)
