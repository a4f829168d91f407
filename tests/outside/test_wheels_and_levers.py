"""Wheels over slots, levers of the basket, gaps for people: outside numbers through both rooms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely.geometry import Point, box

from routeplan.hazards.arrays import GRADE, HEAD
from routeplan.hazards.attitude import slopes
from routeplan.hazards.body import build_body
from routeplan.hazards.bounce import lever
from routeplan.hazards.fields import defect_size
from routeplan.hazards.ground import OUT, slope_margins
from routeplan.hazards.prepare import encounter
from routeplan.hazards.terrain import build_terrain
from routeplan.machine.model import Machine
from routeplan.recheck.bounce import levers
from routeplan.recheck.disc import disc_level
from routeplan.recheck.levels import Raster
from routeplan.recheck.stance import planes_of
from routeplan.recheck.swing import KIND as SWING
from routeplan.recheck.wheels import hole_drop_m
from routeplan.search.anchors import check_motions
from routeplan.site.model import Defect, Site, Soffit, Thresholds
from tests import worlds
from tests.recheck.drives import certain, drive, kinds, move_of, opinion, yard_for

#: Radius, slot width, drop in mm: a rigid circle over a slot, R - sqrt(R^2 - (w/2)^2), plane geometry, arithmetic.
SLOTS = [(0.15, 0.15, 20.096), (0.30, 0.30, 40.192), (0.50, 0.30, 23.030)]


@pytest.mark.parametrize(("radius_m", "width_m", "drop_mm"), SLOTS)
def test_wheel_over_a_slot(radius_m: float, width_m: float, drop_mm: float) -> None:
    hole = Defect("slot", "pothole", Point(0, 0).buffer(width_m / 2), width_m, 1.0, 0.0, None)
    assert 1000 * defect_size(hole, radius_m) == pytest.approx(drop_mm, abs=0.001)
    assert 1000 * hole_drop_m(1.0, width_m, radius_m) == pytest.approx(drop_mm, abs=0.001)


@pytest.mark.parametrize(("radius_m", "width_m", "drop_mm"), SLOTS)
def test_disc_rolls_over_a_slot_in_the_raster(radius_m: float, width_m: float, drop_mm: float) -> None:
    """The same slot cut 1 m deep into levels at every 2.5 mm; its edges are that much out."""
    cell = 0.0025
    x = np.arange(-0.6, 0.6 + cell / 2, cell)
    levels = np.tile(np.where(np.abs(x) < width_m / 2 - 1e-9, -1.0, 0.0), (3, 1))
    raster = Raster(levels, x_min=-0.6, y_min=-cell, cell_m=cell)
    level = disc_level(raster, np.array([0.0]), np.array([0.0]), np.array([0.0]), radius_m=radius_m, width_m=0.0)
    assert -1000 * float(level[0]) == pytest.approx(drop_mm, abs=2.0)


def both_levers(*, wheelbase_m: float, beyond_m: float, near: bool) -> float:
    """Lever of a point on the middle line, ``beyond_m`` beyond the front axle, for the near or the far axle."""
    xi = wheelbase_m + beyond_m
    axles = (wheelbase_m, 0.0) if near else (0.0, wheelbase_m)
    first = lever(xi, 0.0, *axles, 2.0)
    machine = worlds.scissor(track_m=2.0, wheelbase_m=wheelbase_m)
    second = levers(machine, np.array([xi]), np.array([0.0]))[0]
    assert second[0 if near else 2] == pytest.approx(first, abs=1e-12)
    return first


def test_rigid_levers() -> None:
    """Statics, L 2.0: 12 m beyond the near axle, which climbs 0.10 m, 0.700 m; 0.5 m beyond, 0.05 m, 0.0625 m."""
    assert both_levers(wheelbase_m=2.0, beyond_m=12.0, near=True) * 0.10 == pytest.approx(0.700, abs=1e-9)
    assert both_levers(wheelbase_m=2.0, beyond_m=0.5, near=True) * 0.05 == pytest.approx(0.0625, abs=1e-9)


@pytest.mark.parametrize(("rise_m", "tilt_deg", "height_m", "lean_m"), [
    (0.10, 2.862, 15.0, 0.750),
    (0.05, 1.432, 10.0, 0.250),
])
def test_rigid_tilt(rise_m: float, tilt_deg: float, height_m: float, lean_m: float) -> None:
    """Statics, L 2.0: an axle that climbs tilts by atan(h / L), and a top leans by that.

    2.862 deg, not the arcsine's 2.866. The leans are for small angles; on the tilt they shrink by its cosine.
    """
    levels = np.array([rise_m, rise_m, 0.0, 0.0])
    plane = planes_of(levels, wheelbase_m=2.0, track_m=2.0, xi_rear_m=0.0, follow=(0, 0.0))
    ahead, _, up = plane.rotation()
    assert np.degrees(np.arcsin(up[0])) == pytest.approx(tilt_deg, abs=0.0006)
    assert -ahead[2] * height_m == pytest.approx(lean_m * math.cos(math.radians(tilt_deg)), abs=1e-5)
    assert searched_tilt_deg(2.0, rise_m) == pytest.approx(tilt_deg, abs=0.0006)


def searched_tilt_deg(wheelbase_m: float, rise_m: float) -> float:
    """By how much a raised front axle lowers the search's margin to the grade rating."""
    machine = worlds.scissor(wheelbase_m=wheelbase_m)
    body = build_body(worlds.flat_site(machines=(machine,)), machine, machine.configurations["stowed"], ridden=True)
    level, raised = np.full(OUT, 100.0), np.full(OUT, 100.0)
    pitch = slopes(body, rise_m, rise_m, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)[0]
    slope_margins(body, 0.0, 0.0, 0.0, 0.0, level)
    slope_margins(body, pitch, 0.0, 0.0, 0.0, raised)
    return float(level[GRADE] - raised[GRADE])


def test_far_axle() -> None:
    """About 6 m beyond an axle on a 2.9 m wheelbase: 2.1 mm a mm for the far axle, 3.1 for the near one (statics)."""
    assert both_levers(wheelbase_m=2.9, beyond_m=6.0, near=False) == pytest.approx(2.1, abs=0.05)
    assert both_levers(wheelbase_m=2.9, beyond_m=6.0, near=True) == pytest.approx(3.1, abs=0.05)


def test_six_to_one_needs_five_wheelbases() -> None:
    """ "6 in bump, 3 ft bounce" (common practice, no source) is 1 + x/L = 6, so x = 5 L."""
    assert both_levers(wheelbase_m=2.4, beyond_m=12.0, near=True) == pytest.approx(6.0, abs=1e-12)


def test_gaps_that_keep_people_from_being_crushed() -> None:
    """EN ISO 13854 / EN 349: head 300 mm, body 500 mm (app.auva.at/Lexikon/Topic/SafetyDistances)."""
    assert Thresholds().head_gap_m == 0.300
    assert Thresholds().body_gap_m == 0.500


def test_head_height_covers_tall_people_in_helmets() -> None:
    """95 % of British and US men: 1855 and 1870 mm, helmet 35 mm; shoes 25 mm from memory.

    personal.cityu.edu.hk/meachan, Ch2-1.
    """
    assert Thresholds().head_height_m >= max(1.855, 1.870) + 0.035 + 0.025


def searched_head_margin_m(site: Site, machine: Machine) -> float:
    """What the search leaves over the operator's head, half a metre driven east on the middle of a yard."""
    hazards = encounter(
        site, machine, configuration="stowed", travel_mode="ridden", k=0.0,
        terrain=build_terrain(site.ground, site.grid),
    ).on(None, travel_m=1.0)  # fmt: skip
    margins, _ = check_motions(hazards, np.array([[19.0, 15.0, 0.0]]), np.array([[[0.5, 0.0, 0.0, 0.0]]]))
    return float(margins[0, HEAD])


@pytest.mark.parametrize(("stature_m", "headroom_m"), [(1.855, 2.215), (1.870, 2.230)])
@pytest.mark.parametrize("spare_m", [0.001, -0.001])
def test_headroom_over_a_platform(stature_m: float, headroom_m: float, spare_m: float) -> None:
    """Stature of 95 % of British, and of US men, helmet 35 mm, shoes 25 mm from memory, head gap 300 mm: 2215, 2230 mm.

    Statures and helmet: personal.cityu.edu.hk/meachan, Ch2-1; head gap: EN ISO 13854 / EN 349 (app.auva.at/Lexikon/
    Topic/SafetyDistances); the sums are arithmetic.
    """
    limits = Thresholds(head_height_m=stature_m + 0.035 + 0.025)
    machine = worlds.scissor()
    level_m = machine.value("platform_floor_m") + headroom_m + spare_m
    canopy = Soffit("c", box(10, 5, 30, 25), "canopy", level_m, None, 0.0, 0.0, 1e-9, "S1")
    poses = drive(19.0, 15.0, 0.0, [(0.5, 0.0)], step_m=0.1)
    site = certain(yard_for(poses, machine, soffits=(canopy,), thresholds=limits))
    assert spare_m - 1e-5 < searched_head_margin_m(site, machine) <= spare_m
    assert kinds(opinion(move_of(poses, machine), site)) == (set() if spare_m > 0 else {"head gap", SWING})
