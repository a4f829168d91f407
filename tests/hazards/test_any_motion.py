"""Poses along a piece: rigid motions of constant rate, whichever way the machine steers; coordinated and crab steer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from routeplan.hazards.arrays import CLEARANCE
from routeplan.hazards.prepare import encounter
from routeplan.hazards.sweep import along
from routeplan.hazards.terrain import build_terrain
from routeplan.hazards.tile import stances_of
from routeplan.machine.model import Basket, Box, Configuration, Machine
from routeplan.plan.steer import coordinated_turn, turn_radius_m
from routeplan.recheck.case import Case
from routeplan.recheck.stance import stand
from routeplan.recheck.steering import turn_radius_m as second_radius_m
from routeplan.recheck.sweep import Sweep, parts_of
from routeplan.recheck.track import envelope, read_rows, subdivide
from routeplan.route.model import Conditions
from routeplan.search.anchors import check_motions
from routeplan.site.model import Obstacle, Site, Thresholds
from tests import worlds
from tests.recheck.drives import drive, move_of, yard_for

METRES, RADIANS = st.floats(-20.0, 20.0), st.floats(-7.0, 7.0)
POSES = st.tuples(METRES, METRES, RADIANS)
BENDS = st.one_of(st.just(0.0), st.floats(0.05, 2.0), st.floats(-2.0, -0.05))
DRIFTS = st.floats(-1.2, 1.2)
LENGTHS = st.floats(-5.0, 5.0)
Pose = tuple[float, float, float]
EXACT = Thresholds(
    lateral_tolerance_m=0.0, heading_tolerance_deg=0.0, body_gap_m=0.0, structure_clearance_m=0.0
)  # fmt: skip
#: Check-values 5.10: width, length and crab angle of a machine, and the width it sweeps.
WIDTH_M, LENGTH_M, CRAB_DEG, SWEPT_M = 1.2, 2.7, 20.0, 2.0511


def near(one: Pose, other: Pose) -> bool:
    turned = math.remainder(one[2] - other[2], 2.0 * math.pi)
    return math.hypot(one[0] - other[0], one[1] - other[1]) < 1e-7 and abs(turned) < 1e-9


@given(start=POSES, first=LENGTHS, then=LENGTHS, bend=BENDS, drift=DRIFTS)
def test_a_piece_driven_in_two_parts_is_the_piece(
    start: Pose, first: float, then: float, bend: float, drift: float
) -> None:
    there = along(*along(*start, first, bend, 0.0, math.sin(drift)), then, bend, 0.0, math.sin(drift))
    assert near(there, along(*start, first + then, bend, 0.0, math.sin(drift)))


@given(start=POSES, length=LENGTHS, bend=BENDS, drift=DRIFTS)
def test_a_piece_driven_back_ends_where_it_began(start: Pose, length: float, bend: float, drift: float) -> None:
    assert near(along(*along(*start, length, bend, 0.0, math.sin(drift)), -length, bend, 0.0, math.sin(drift)), start)


@given(start=POSES, length=LENGTHS, bend=BENDS, drift=DRIFTS)
def test_it_is_the_motion_of_its_rates(start: Pose, length: float, bend: float, drift: float) -> None:
    """Against sums of small steps, each at the drift from the arrow, the arrow turning by the bend."""
    n = 4000
    x, y, heading = start
    headings = heading + bend * length * (np.arange(n) + 0.5) / n
    x, y = x + length / n * np.cos(headings + drift).sum(), y + length / n * np.sin(headings + drift).sum()
    found = along(*start, length, bend, 0.0, math.sin(drift))
    assert math.hypot(found[0] - x, found[1] - y) < 1e-4
    assert found[2] == pytest.approx(heading + bend * length)


@given(length=LENGTHS, bend=BENDS, drift=DRIFTS, xi=st.floats(-6.0, 6.0), eta=st.floats(-2.0, 2.0))
def test_the_turning_centre_stays_where_it_is(length: float, bend: float, drift: float, xi: float, eta: float) -> None:
    """Every body point keeps its distance from the centre, ``(-sin, cos)(drift) / bend`` in the machine's frame."""
    if bend == 0.0:
        return
    cx, cy = -math.sin(drift) / bend, math.cos(drift) / bend
    x, y, heading = along(0.0, 0.0, 0.0, length, bend, 0.0, math.sin(drift))
    px, py = x + xi * math.cos(heading) - eta * math.sin(heading), y + xi * math.sin(heading) + eta * math.cos(heading)
    assert math.hypot(px - cx, py - cy) == pytest.approx(math.hypot(xi - cx, eta - cy), abs=1e-9)


@given(bend=BENDS, drift=DRIFTS, length=st.floats(0.5, 4.0))
def test_no_point_goes_farther_between_two_stances_than_a_step(bend: float, drift: float, length: float) -> None:
    body = DRAWN.body
    piece = np.array([length, bend, 0.0, math.sin(drift)])
    n = stances_of(body, piece)
    before, after = (0.0, 0.0, 0.0), along(0.0, 0.0, 0.0, length / n, bend, 0.0, math.sin(drift))
    for xi in body.hull[:2]:
        for eta in body.hull[2:]:
            (x0, y0), (x1, y1) = (
                (x + xi * math.cos(h) - eta * math.sin(h), y + xi * math.sin(h) + eta * math.cos(h))
                for x, y, h in (before, after)
            )
            assert math.hypot(x1 - x0, y1 - y0) <= 0.25 + 1e-9


def wheels_at(deg: float) -> Machine:
    """A machine of 2 m wheelbase with the radii that an angle of its wheels gives; 0.8 m wide, 0.4 m of overhang."""
    front, both = 2.0 / math.tan(math.radians(deg)), 1.0 / math.tan(math.radians(deg))
    return worlds.scissor(
        wheelbase_m=2.0, front_overhang_m=0.4, width_m=0.8, turn_radius_outside_m=math.hypot(2.4, front + 0.4),
        turn_radius_outside_coordinated_m=math.hypot(1.4, both + 0.4),
    )


def test_both_axles_turned_halve_the_radius() -> None:
    """R = (L/2) / tan d: L = 2, d = 30 deg gives 1.73205, front steer 3.46410 (plane geometry, from memory)."""
    machine = wheels_at(30.0)
    turn = coordinated_turn(machine)
    assert turn is not None
    assert turn.radius_m == pytest.approx(1.73205, abs=5e-6)
    assert math.degrees(math.asin(-turn.slip)) == pytest.approx(30.0), "the rear wheels point where the origin goes"
    assert turn_radius_m(machine) == pytest.approx(3.46410, abs=5e-6)
    assert second_radius_m(machine) == pytest.approx(3.46410, abs=5e-6)
    assert second_radius_m(machine, "coordinated") == pytest.approx(math.hypot(1.73205, 1.0), abs=5e-6)
    half_round = along(0.0, 0.0, 0.0, math.pi * turn.origin_radius_m, 1.0 / turn.origin_radius_m, 0.0, turn.slip)
    assert half_round == pytest.approx((2.0, 2.0 * 1.7320508, math.pi)), "the middle of the wheelbase stays abeam"


def slab() -> Machine:
    """A box of check-values 5.10 on small wheels in its middle, in crab steer."""
    outline = worlds.ring(-0.35, -WIDTH_M / 2, LENGTH_M - 0.35, WIDTH_M / 2)
    machine = worlds.scissor(width_m=WIDTH_M, length_m=LENGTH_M, wheelbase_m=2.0, crab_angle_deg=CRAB_DEG)
    boxes = (Box("body", outline, 0.09, 2.3),)
    shape = Configuration("stowed", boxes, Basket(1.0, 0.0, 1.2, None, outline), 2300.0, outline)
    return worlds.machine("SC", {n: f.value for n, f in machine.figures.items()}, machine.wheels, shape)


def walled(spare_m: float, angle: float) -> Site:
    """Two walls along a way aslant of the arrow, as far apart as the body sweeps and some more.

    Aslant by d, a box from -r to L - r with half width w reaches w cos d + (L - r) sin d to the right of the line of
    its origin (its front end trails), and w cos d + r sin d to the left.
    """
    half, d = WIDTH_M / 2, abs(angle)
    right, left = (half * math.cos(d) + end * math.sin(d) + spare_m for end in (LENGTH_M - 0.35, 0.35))
    if angle < 0.0:
        right, left = left, right
    way = LineString([(10.0, 15.0), (10.0 + 20.0 * math.cos(angle), 15.0 + 20.0 * math.sin(angle))])
    sides = ((left, 0.1), (-right, -0.1))
    walls = [way.offset_curve(at).buffer(thick, single_sided=True) for at, thick in sides]
    obstacles = tuple(Obstacle(f"w{n}", wall, "wall", None) for n, wall in enumerate(walls))
    return worlds.flat_site(machines=(slab(),), obstacles=obstacles, thresholds=EXACT)


def looked_at(site: Site, piece: Sequence[float]) -> float:
    hazards = encounter(
        site, slab(), configuration="stowed", travel_mode="beside_rails_up", k=3.0,
        terrain=build_terrain(site.ground, site.grid),
    ).on(None, travel_m=8.0)  # fmt: skip
    start = (*along(10.0, 15.0, 0.0, 6.0, *piece[1:])[:2], 0.0)
    margins, _ = check_motions(hazards, np.array([start]), np.array([[piece]]))
    return float(margins[0, CLEARANCE])


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_crab_steer_sweeps_width_and_length_aslant_for_the_search(side: float) -> None:
    """W cos d + L sin d: 1.2 m wide, 2.7 m long, 20 deg off sweep 2.0511 m (plane geometry, worked out here)."""
    angle = side * math.radians(CRAB_DEG)
    assert WIDTH_M * math.cos(angle) + LENGTH_M * math.sin(abs(angle)) == pytest.approx(SWEPT_M, abs=5e-5)
    found = looked_at(walled(0.1, angle), (5.0, 0.0, 0.0, math.sin(angle)))
    assert 0.098 <= found <= 0.1 + 1e-9
    assert looked_at(walled(-0.002, angle), (5.0, 0.0, 0.0, math.sin(angle))) <= 0.0


def test_crab_steer_sweeps_width_and_length_aslant_for_the_second_opinion() -> None:
    machine, angle = slab(), math.radians(CRAB_DEG)
    poses = drive(10.0, 10.0, 0.3, [(4.0, 0.0, angle)])
    site = yard_for(poses, machine, thresholds=EXACT)
    track = subdivide(read_rows(poses), envelope(machine, machine.configurations["stowed"]))
    case: Any = Case.of(move_of(poses, machine), track, site=site, machine=machine, conditions=Conditions())
    rows = np.arange(len(track.x))
    case = case.around(rows)
    stance = stand(case, rows)
    parts = [Sweep(case, stance, part) for part in parts_of(machine.configurations["stowed"].boxes[0])]
    whole: BaseGeometry = unary_union([shape for part in parts for shape in part.shapes(rows)])
    across = np.array(whole.convex_hull.exterior.coords)
    width = np.ptp(across @ np.array([-math.sin(0.3 + angle), math.cos(0.3 + angle)]))
    assert width == pytest.approx(SWEPT_M, abs=5e-5)


def _drawn() -> Any:
    site = worlds.flat_site(machines=(worlds.boom(),))
    return encounter(
        site, worlds.boom(), configuration="stowed", travel_mode="ridden", k=3.0,
        terrain=build_terrain(site.ground, site.grid),
    ).on(None, travel_m=8.0)  # fmt: skip


DRAWN = _drawn()
