"""Kerbs and sills: just inside the angle and the side slope a drive over one is accepted, just beyond it is refused."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from shapely import affinity
from shapely.geometry import Polygon, box

from routeplan.recheck.uncertainty import Sigmas, confidence_k
from routeplan.site.model import Defect, Thresholds
from tests import worlds
from tests.recheck.drives import certain, drive, kinds, move_of, opinion, yard_for
from tests.recheck.test_just_beyond import LENGTH_M, MIDDLE, MM, SEEDS, Straight

LOW_M = 0.02
ABOUT = {"kerb angle", "kerb side slope"}


def kerb(outline: Polygon) -> tuple[Defect, ...]:
    """A low one."""
    return (Defect("k", "kerb", outline, 0.15, 0.0, LOW_M, None),)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_kerb_met_a_hundredth_of_a_degree_inside_and_beyond_the_angle(seed: int) -> None:
    """The kerb's normal and the drive, the heading's tolerance on top; in either gear, turned either way."""
    for spare_deg, expected in ((0.01, set()), (-0.01, {"kerb angle"})):
        straight = Straight(seed)
        aslant = straight.limits.kerb_angle_deg - straight.limits.heading_tolerance_deg - spare_deg
        strip = straight.beside(-10.0, thickness_m=20.0, length_m=0.15)
        turned = affinity.rotate(strip, aslant if seed % 3 else -aslant, origin=MIDDLE)
        assert straight.refused(straight.site(defects=kerb(turned))) & ABOUT == expected


@pytest.mark.parametrize("seed", SEEDS)
def test_a_tyre_meets_the_side_of_a_kerb_that_lies_along_its_way(seed: int) -> None:
    """A tyre seen from above, within the tube, comes up to it or just does not."""
    straight = Straight(seed)
    corners = [
        (wheel.xi_m + end * wheel.radius_m, wheel.eta_m + wheel.width_m / 2)
        for wheel in straight.machine.wheels for end in (-1, 1)
    ]  # fmt: skip
    for spare_m, expected in ((MM, set()), (-MM, {"kerb angle"})):
        strip = straight.beside(straight.reach(corners) + spare_m, thickness_m=0.15)
        assert straight.refused(straight.site(defects=kerb(strip))) & ABOUT == expected


@pytest.mark.parametrize("seed", SEEDS)
def test_a_kerb_on_a_crossfall_just_inside_and_just_beyond(seed: int) -> None:
    machine = worlds.boom() if seed % 2 else worlds.scissor()
    limits = Thresholds(heading_tolerance_deg=0.0, bounce_limit_m=9.0)
    sigmas = Sigmas.of(machine, worlds.GOOD_SURVEY)
    k = confidence_k(LENGTH_M, route_confidence=0.95, correlation_m=2.0)
    steepest = limits.kerb_side_slope_deg - k * math.degrees(sigmas.roll)
    poses = drive(19.0, 15.0, 0.0, [(2.0, 0.0)], step_m=0.1)
    strip, side = box(20.0, 10.0, 20.15, 20.0), 1.0 if seed % 3 else -1.0
    y, x = np.mgrid[0:121, 0:161] * 0.25
    for spare_deg, expected in ((0.01, set()), (-0.01, {"kerb side slope"})):
        z = side * math.tan(math.radians(steepest - spare_deg)) * y
        site = yard_for(poses, machine, z=z, defects=kerb(strip), thresholds=limits)
        assert kinds(opinion(move_of(poses, machine), site)) & ABOUT == expected
    along = yard_for(poses, machine, z=0.1 * x, defects=kerb(strip), thresholds=limits)
    assert not kinds(opinion(move_of(poses, machine), along)) & ABOUT  # a grade is no side slope


def test_a_wheel_that_turns_over_a_kerb_goes_aslant() -> None:
    """In a turn of radius r the inner front hub goes at ``atan(L / (r - T/2))`` to the arrow; the kerb is square-on."""
    machine = worlds.scissor()
    radius, outer = 3.0, machine.track_m / 2
    goes = math.degrees(math.atan2(machine.wheelbase_m, radius - outer))
    limits = Thresholds(lateral_tolerance_m=0.0, heading_tolerance_deg=0.0, bounce_limit_m=9.0)
    poses = drive(20.0, 15.0, 0.0, [(0.02, 0.02 / radius)], step_m=0.01, turn_deg=0.1)
    strip = box(20.0 + machine.wheelbase_m, 10.0, 22.0, 20.0)
    for spare_deg, expected in ((0.5, set()), (-0.5, {"kerb angle"})):
        own = dataclasses.replace(limits, kerb_angle_deg=goes + spare_deg)
        site = certain(yard_for(poses, machine, defects=kerb(strip), thresholds=own))
        assert kinds(opinion(move_of(poses, machine), site)) & ABOUT == expected


def test_a_machine_in_crab_steer_goes_aslant() -> None:
    """Its arrow square-on, its way not."""
    machine = worlds.boom(turn_radius_outside_coordinated_m=4.0, crab_angle_deg=20.0)
    limits = Thresholds(lateral_tolerance_m=0.0, heading_tolerance_deg=0.0, bounce_limit_m=9.0)
    poses = drive(19.0, 15.0, 0.0, [(2.0, 0.0, math.radians(12.0))], step_m=0.1)
    strip = box(20.0, 5.0, 20.15, 25.0)
    for limit_deg, expected in ((12.01, set()), (11.99, {"kerb angle"})):
        own = dataclasses.replace(limits, kerb_angle_deg=limit_deg)
        site = certain(yard_for(poses, machine, defects=kerb(strip), thresholds=own))
        assert kinds(opinion(move_of(poses, machine), site)) & ABOUT == expected


def test_the_inner_edge_of_a_raised_ring_is_an_edge() -> None:
    """All round the machine, and so far out that no tyre meets its outer edge."""
    machine = worlds.scissor()
    poses = drive(19.0, 15.0, math.radians(30.0), [(2.0, 0.0)], step_m=0.1)
    ring = box(10.0, 5.0, 30.0, 25.0).difference(box(10.5, 5.5, 20.0, 24.5))
    assert isinstance(ring, Polygon) and len(ring.interiors) == 1
    site = certain(yard_for(poses, machine, defects=kerb(ring), thresholds=Thresholds(bounce_limit_m=9.0)))
    assert "kerb angle" in kinds(opinion(move_of(poses, machine), site))
