"""Wheels over slots, levers of the basket, gaps for people: outside numbers through both rooms."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import Point

from routeplan.hazards.bounce import lever
from routeplan.hazards.fields import defect_size
from routeplan.recheck.bounce import levers
from routeplan.recheck.levels import Raster
from routeplan.recheck.wheels import hole_drop_m
from routeplan.site.model import Defect, Thresholds
from tests import worlds

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
    level = raster.disc(np.array([0.0]), np.array([0.0]), np.array([0.0]), radius_m=radius_m, width_m=0.0)
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
