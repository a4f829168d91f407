"""Mutations of the ground and the ratings: just inside each limit a drive is accepted, just beyond it is refused."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from shapely.geometry import box

from routeplan.recheck.swing import KIND as SWING
from routeplan.recheck.uncertainty import Sigmas, confidence_k
from routeplan.site.model import Defect, Obstacle, Thresholds
from tests import worlds
from tests.recheck.drives import certain, drive, kinds, move_of, opinion, yard_for
from tests.recheck.test_just_beyond import LENGTH_M, MM, SEEDS, Straight


@pytest.mark.parametrize("seed", SEEDS)
def test_a_kerb_under_the_wheels_and_the_step_limit(seed: int) -> None:
    for spare_m, refused in ((MM, False), (-MM, True)):
        straight = Straight(2 * seed)
        height = straight.machine.value("step_limit_m") - spare_m
        kerb = straight.beside(-5.0, thickness_m=10.0, length_m=0.15)
        site = straight.site(defects=(Defect("k", "kerb", kerb, 0.15, 0.0, height, None),))
        assert ("step" in straight.refused(site)) is refused


@pytest.mark.parametrize("seed", SEEDS)
def test_a_low_sill_between_the_wheels_and_the_underside(seed: int) -> None:
    """A box passes over what stays its ground clearance below it; a sill along the drive lifts no wheel here."""
    rng = np.random.default_rng(seed)
    machine = worlds.boom(ground_clearance_m=float(rng.uniform(0.10, 0.20)))
    limits = Thresholds(lateral_tolerance_m=0.05, heading_tolerance_deg=0.5, bounce_limit_m=9.0)
    poses = drive(19.0, 15.0, 0.0, [(2.0, 0.0)], step_m=0.1)
    for spare_m, expected in ((MM, set()), (-MM, {"ground strike"})):
        height = machine.value("ground_clearance_m") - limits.ground_clearance_m - spare_m
        sill = Defect("s", "sill", box(10, 14.95, 30, 15.05), 0.1, 0.0, height, None)
        site = certain(yard_for(poses, machine, defects=(sill,), thresholds=limits))
        assert kinds(opinion(move_of(poses, machine), site)) == expected


@pytest.mark.parametrize("seed", SEEDS)
def test_a_ridge_between_the_wheels_and_the_underside(seed: int) -> None:
    """One row of raised nodes along the drive, met by no wheel: the exact peak counts, wherever the samples lie."""
    rng = np.random.default_rng(seed)
    machine = worlds.boom(ground_clearance_m=float(rng.uniform(0.10, 0.20)))
    limits = Thresholds(lateral_tolerance_m=0.05, heading_tolerance_deg=0.5, bounce_limit_m=9.0)
    poses = drive(19.0, 15.0 + float(rng.uniform(-0.1, 0.1)), 0.0, [(2.0, 0.0)], step_m=0.1)
    for spare_m, expected in ((MM, set()), (-MM, {"ground strike"})):
        z = np.zeros((121, 161))
        z[60] = machine.value("ground_clearance_m") - limits.ground_clearance_m - spare_m
        site = certain(yard_for(poses, machine, z=z, thresholds=limits))
        assert kinds(opinion(move_of(poses, machine), site)) == expected


@pytest.mark.parametrize("seed", SEEDS)
def test_a_top_that_leans_back_on_a_grade(seed: int) -> None:
    """On a grade m the top of the rear leans ``zeta sin(atan m)`` downhill, towards a wall behind the start."""
    machine, fall = worlds.scissor(), float(np.random.default_rng(seed).uniform(0.02, 0.12))
    limits = Thresholds(lateral_tolerance_m=0.0, heading_tolerance_deg=0.0)
    pitch = math.atan(fall)
    edge = 0.27 * math.cos(pitch) + 2.30 * math.sin(pitch) + limits.body_gap_m
    _y, x = np.mgrid[0:121, 0:161] * 0.25
    poses = drive(19.0, 15.0, 0.0, [(2.0, 0.0)], step_m=0.1)
    for spare_m, expected in ((MM, set()), (-MM, {"side clearance"})):
        wall = Obstacle("wall", box(10.0, 10.0, 19.0 - edge - spare_m, 20.0), "wall", None)
        site = certain(yard_for(poses, machine, z=fall * x, obstacles=(wall,), thresholds=limits))
        assert kinds(opinion(move_of(poses, machine), site)) == expected


@pytest.mark.parametrize("seed", SEEDS)
def test_a_post_beside_the_waist(seed: int) -> None:
    """Beside its origin a turned body reaches least: ``eta / cos D + x tan D`` at x ahead, and no more is asked."""
    machine, turn_deg = worlds.boom(), float(np.random.default_rng(seed).uniform(2.0, 4.0))
    limits = Thresholds(
        lateral_tolerance_m=0.1, heading_tolerance_deg=turn_deg, body_gap_m=0.0, structure_clearance_m=0.0
    )
    turn, half = math.radians(turn_deg), machine.value("width_m") / 2
    poses = drive(20.0, 15.0, 0.0, [(0.3, 0.0)], step_m=0.1)
    edge = half / math.cos(turn) + 0.16 * math.tan(turn) + limits.lateral_tolerance_m
    for spare_m, expected in ((2 * MM, set()), (-2 * MM, {"side clearance"})):
        post = box(20.14, 15.0 + edge + spare_m, 20.16, 15.5 + edge)
        site = certain(yard_for(poses, machine, obstacles=(Obstacle("post", post, "post", None),), thresholds=limits))
        assert kinds(opinion(move_of(poses, machine), site)) == expected


@pytest.mark.parametrize(("kind", "size_m"), [("pothole", 0.06), ("kerb", 0.05)])
def test_a_wheel_in_a_hole_or_on_a_kerb_rolls_the_machine(kind: Any, size_m: float) -> None:
    """Both left wheels in a groove, or on a bank, as wide as a wheel's diameter: roll = atan(size / track)."""
    roll = math.degrees(math.atan(size_m / worlds.scissor().track_m))
    depth, height = (size_m, 0.0) if kind == "pothole" else (0.0, size_m)
    defect = Defect("d", kind, box(10.0, 15.20, 30.0, 16.0), 0.80, depth, height, None)
    limits = Thresholds(lateral_tolerance_m=0.02, heading_tolerance_deg=0.0, bounce_limit_m=9.0)
    poses = drive(19.0, 15.0, 0.0, [(2.0, 0.0)], step_m=0.1)
    for spare_deg, refused in ((0.01, False), (-0.01, True)):
        machine = worlds.scissor(step_limit_m=1.0, side_slope_pct=100.0 * math.tan(math.radians(roll + spare_deg)))
        found = opinion(
            move_of(poses, machine), certain(yard_for(poses, machine, defects=(defect,), thresholds=limits))
        )
        assert ("side slope" in kinds(found)) is refused


@pytest.mark.parametrize("seed", SEEDS)
def test_a_crossfall_and_a_grade_at_their_ratings(seed: int) -> None:
    """A plane at just under and just over the rating, with the real k sigma, driven along and across."""
    rng = np.random.default_rng(seed)
    # Ratings of a machine that is much better the other way, so that the combined check stays out of it.
    across = bool(seed % 2)
    rating = float(rng.uniform(10.0, 25.0))
    figures: dict[str, Any] = {
        "side_slope_pct": rating if across else 9000.0,
        "gradeability_basket_uphill_pct": 9000.0 if across else rating,
    }
    machine = worlds.boom(gradeability_basket_downhill_pct=9000.0, ground_clearance_m=0.6, **figures)
    sigmas = Sigmas.of(machine, worlds.GOOD_SURVEY)
    k = confidence_k(LENGTH_M, route_confidence=0.95, correlation_m=2.0)
    limit = math.degrees(math.atan(rating / 100)) - k * math.degrees(sigmas.roll if across else sigmas.pitch)
    y, x = np.mgrid[0:121, 0:161] * 0.25
    poses = drive(19.0, 15.0, 0.0, [(2.0, 0.0)], step_m=0.1)
    kind = "side slope" if across else "gradeability"
    for spare_deg, refused in ((0.01, False), (-0.01, True)):
        z = math.tan(math.radians(limit - spare_deg)) * (y if across else x)
        found = kinds(opinion(move_of(poses, machine), yard_for(poses, machine, z=z)))
        assert (kind in found) is refused and found <= {kind, "combined slope"}


@pytest.mark.parametrize("seed", SEEDS)
def test_the_rating_goes_by_the_end_of_the_basket(seed: int) -> None:
    """Downhill with the basket leading is rated by the downhill figure, in either gear."""
    gear = 1 if seed % 2 else -1
    machine = worlds.boom(gradeability_basket_downhill_pct=15.0, gradeability_basket_uphill_pct=40.0)
    _y, x = np.mgrid[0:121, 0:161] * 0.25
    poses = drive(20.0 - gear, 15.0, 0.0, [(gear * 2.0, 0.0)], step_m=0.1)
    for grade, refused in ((0.16, False), (-0.14, False), (-0.16, True), (0.41, True)):
        found = kinds(opinion(move_of(poses, machine), certain(yard_for(poses, machine, z=grade * x))))
        assert ("gradeability" in found) is refused


@pytest.mark.parametrize("seed", SEEDS)
def test_an_unknown_level_under_a_wheel_or_the_body(seed: int) -> None:
    """Rows of nodes are unknown from here on north; the body comes over them or just does not.

    Tyres as far out as the body stand nobody knows how, and nobody knows how it then swings.
    """
    straight = Straight(seed)
    limits = dataclasses.replace(straight.limits, heading_tolerance_deg=0.0)
    outer = max(eta for part in straight.machine.configurations["stowed"].boxes for _xi, eta in part.ring)
    z = np.zeros((121, 161))
    z[72:] = np.nan
    known_to = 71 * 0.25
    tyres = max(wheel.eta_m + wheel.width_m / 2 for wheel in straight.machine.wheels)
    unknown = {"levels known", SWING} if tyres >= outer - 1e-9 else {"levels known"}
    for spare_m, expected in ((MM, set()), (-MM, unknown)):
        north = known_to - outer - limits.lateral_tolerance_m - spare_m
        poses = drive(19.0, north, 0.0, [(2.0, 0.0)], step_m=0.1)
        site = certain(yard_for(poses, straight.machine, z=z, thresholds=limits))
        assert kinds(opinion(move_of(poses, straight.machine), site)) == expected


@pytest.mark.parametrize("seed", SEEDS)
def test_a_turn_at_the_turn_radius(seed: int) -> None:
    straight = Straight(seed)
    machine = straight.machine
    front, half = machine.value("front_overhang_m"), machine.value("width_m") / 2
    outside = machine.value("turn_radius_outside_m")
    radius = math.sqrt(outside**2 - (machine.wheelbase_m + front) ** 2) - half
    side = 1 if seed % 3 else -1
    for share, expected in ((0.999, set()), (0.99, {"turning"})):
        turn = side * 1.2 / (radius * share)
        poses = drive(20.0, 15.0, straight.heading, [(straight.gear * 1.2, turn)], turn_deg=1.5)
        assert kinds(opinion(move_of(poses, machine), certain(yard_for(poses, machine)))) == expected


def test_a_front_axle_on_a_bank_lifts_the_basket() -> None:
    """Rigid rise ``xi sin p + zeta (cos p - 1)`` with tan p = h/L, and the excess on top of it."""
    machine, height = worlds.scissor(), 0.04
    length, track = machine.wheelbase_m, machine.track_m
    pitch, (xi, eta), zeta = math.atan(height / length), (2.13, 0.405), 1.20
    lever = max(xi / length, xi / length / 2 + eta / track)
    limits = Thresholds(lateral_tolerance_m=0.1, heading_tolerance_deg=0.0)
    rise = xi * math.sin(pitch) + zeta * (math.cos(pitch) - 1) + limits.tip_participation * 2.0 * lever * height
    bank = Defect("k", "kerb", box(20.3, 12.0, 23.0, 18.0), 2.7, 0.0, height, None)
    poses = drive(19.0, 15.0, 0.0, [(0.3, 0.0)], step_m=0.1)
    for spare_m, expected in ((MM, set()), (-MM, {"bounce rise"})):
        tight = dataclasses.replace(limits, bounce_limit_m=rise + spare_m)
        site = certain(yard_for(poses, machine, defects=(bank,), thresholds=tight))
        assert kinds(opinion(move_of(poses, machine), site)) == expected


def test_ground_strike_leaves_k_sigma_of_body_and_ground() -> None:
    """Along the middle of the chassis its front edge is the least certain; the ground below adds its own sigma."""
    machine, accuracy = worlds.boom(ground_clearance_m=0.15), worlds.GOOD_SURVEY
    limits = Thresholds(lateral_tolerance_m=0.0, heading_tolerance_deg=0.0, bounce_limit_m=9.0)
    point = Sigmas.of(machine, accuracy).point(np.array([3.1]), np.array([0.0]))[0]
    k = confidence_k(LENGTH_M, route_confidence=0.95, correlation_m=2.0)
    needed = limits.ground_clearance_m + k * math.hypot(point, accuracy.short_range_m)
    poses = drive(19.0, 15.0, 0.0, [(LENGTH_M, 0.0)], step_m=0.1)
    for spare_m, expected in ((0.1 * MM, set()), (-0.1 * MM, {"ground strike"})):
        z = np.zeros((121, 161))
        z[60] = 0.15 - needed - spare_m
        site = yard_for(poses, machine, z=z, thresholds=limits)
        assert kinds(opinion(move_of(poses, machine), site)) == expected


@pytest.mark.parametrize("seed", SEEDS)
def test_grade_and_crossfall_together(seed: int) -> None:
    """Each within its rating, their fractions of it on the circle of one or just outside it."""
    machine, share = worlds.scissor(ground_clearance_m=0.2), float(np.random.default_rng(seed).uniform(0.3, 1.2))
    limits = Thresholds(heading_tolerance_deg=0.0)
    y, x = np.mgrid[0:121, 0:161] * 0.25
    poses = drive(19.0, 15.0, 0.0, [(2.0, 0.0)], step_m=0.1)
    for used, expected in ((0.999, set()), (1.001, {"combined slope"})):
        grade = math.tan(math.atan(0.25) * used * math.cos(share))
        fall = math.tan(math.atan(0.20) * used * math.sin(share))
        site = certain(yard_for(poses, machine, z=grade * x + fall * y, thresholds=limits))
        assert kinds(opinion(move_of(poses, machine), site)) == expected
