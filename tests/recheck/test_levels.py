"""Levels of the second opinion: interpolation, rolling disc, clean ground, defects within reach."""

from __future__ import annotations

import math

import numpy as np
import pytest

from routeplan.recheck.disc import disc_level
from routeplan.recheck.levels import DiscMaximum, Floats, Levels, Raster, clean_ground, running
from tests import worlds

CELL = 0.25


def raster(z: Floats, cell_m: float = CELL) -> Raster:
    return Raster(z, x_min=0.0, y_min=0.0, cell_m=cell_m)


def one(value: float) -> Floats:
    return np.array([value])


def test_a_bilinear_surface_is_read_exactly() -> None:
    y, x = np.mgrid[0:21, 0:31] * CELL
    field = raster(2.0 + 0.3 * x - 0.1 * y)
    rng = np.random.default_rng(1)
    px, py = rng.uniform(0, 7.5, 200), rng.uniform(0, 5.0, 200)
    assert np.abs(field.at(px, py) - (2.0 + 0.3 * px - 0.1 * py)).max() < 1e-12


def test_the_last_node_is_known_and_a_hair_beyond_is_not() -> None:
    field = raster(np.ones((5, 5)))
    assert field.at(one(1.0), one(1.0))[0] == 1.0
    assert field.at(one(1.0 + 1e-9), one(0.5))[0] > 1e6
    assert np.isnan(disc_level(field, one(0.95), one(0.5), one(0.0), radius_m=0.2, width_m=0.1)[0])


def test_an_unknown_node_is_unknown_only_where_it_counts() -> None:
    z = np.zeros((5, 5))
    z[2, 2] = np.nan
    field = raster(z)
    assert field.at(one(0.25), one(0.5))[0] == 0.0
    assert field.at(one(0.26), one(0.5))[0] > 1e6


@pytest.mark.parametrize("slope", [0.0, 0.05, 0.4])
def test_a_disc_on_a_plane_is_lifted_by_its_tangent(slope: float) -> None:
    """Closed form: R (sqrt(1 + m^2) - 1) along the slope, half a width times the slope across it."""
    _y, x = np.mgrid[0:21, 0:31] * CELL
    field = raster(slope * x)
    along = disc_level(field, one(3.0), one(2.0), one(0.0), radius_m=0.46, width_m=0.3)[0]
    across = disc_level(field, one(3.0), one(2.0), one(math.pi / 2), radius_m=0.46, width_m=0.3)[0]
    assert along == pytest.approx(3.0 * slope + 0.46 * (math.sqrt(1 + slope**2) - 1), abs=1e-9)
    assert across == pytest.approx(3.0 * slope + 0.15 * slope, abs=1e-9)


@pytest.mark.parametrize(("cell_m", "rough_m"), [(0.1, 0.005), (0.25, 0.005), (0.25, 0.02), (0.5, 0.02)])
def test_a_disc_stands_on_the_highest_of_all_that_is_under_it(cell_m: float, rough_m: float) -> None:
    """Brute force over 300 x 100 places under the wheel, crests between the lines along it included."""
    rng = np.random.default_rng(2)
    field = raster(rng.normal(0, rough_m, (60, 60)), cell_m=cell_m)
    s, t = (grid.ravel() for grid in np.meshgrid(np.linspace(-0.4, 0.4, 301), np.linspace(-0.15, 0.15, 101)))
    arc = np.sqrt(np.maximum(0.0, 0.16 - s**2)) - 0.4
    for _ in range(40):
        x, y, heading = rng.uniform(2, 4), rng.uniform(2, 4), rng.uniform(0, 2 * math.pi)
        cos, sin = math.cos(heading), math.sin(heading)
        highest = (field.at(x + s * cos - t * sin, y + s * sin + t * cos) + arc).max()
        found = disc_level(field, one(x), one(y), one(heading), radius_m=0.4, width_m=0.3)[0]
        assert highest - 0.0005 <= found <= highest + 0.001


def test_a_disc_climbs_a_step_before_it_reaches_it() -> None:
    """Closed form: a step of height h at distance d lifts a disc to h + sqrt(R^2 - d^2) - R."""
    _y, x = np.mgrid[0:101, 0:401] * 0.01
    field = raster(np.where(x >= 2.0, 0.1, 0.0), cell_m=0.01)
    found = disc_level(field, one(1.8), one(0.5), one(0.0), radius_m=0.4, width_m=0.1)[0]
    assert found == pytest.approx(0.1 + math.sqrt(0.16 - 0.04) - 0.4, abs=1e-3)


@pytest.mark.parametrize("cell_m", [0.1, 0.25, 0.5, 1.0])
def test_planes_and_ramps_are_clean_to_the_last_node(cell_m: float) -> None:
    y, x = np.mgrid[0:30, 0:40] * cell_m
    plane = 0.07 * x - 0.11 * y
    assert np.abs(clean_ground(plane, cell_m) - plane).max() < 1e-9
    middle = x.mean()
    ramp = np.clip(0.1 * (x - middle), 0.0, 0.1 * middle / 2)
    assert np.abs(clean_ground(ramp, cell_m) - ramp).max() < 1e-9


def test_holes_are_filled_and_bumps_shaved_but_not_wide_ones() -> None:
    z = np.zeros((41, 41))
    z[10, 10], z[20:22, 20:22], z[30:36, 5:11] = -0.08, 0.05, 0.2
    tidy = clean_ground(z, CELL)
    assert tidy[10, 10] == 0.0 and np.all(tidy[20:22, 20:22] == 0.0)
    assert np.all(tidy[30:36, 5:11] == 0.2)


def test_running_extremes_agree_with_brute_force() -> None:
    z = np.random.default_rng(3).normal(size=(13, 17))
    for half in (1, 2, 5):
        found = running(z, half, highest=True)
        for row in range(13):
            for col in range(17):
                part = z[max(0, row - half) : row + half + 1, max(0, col - half) : col + half + 1]
                assert found[row, col] == part.max()
    assert np.array_equal(running(z, 3, highest=False), -running(-z, 3, highest=True))


def test_the_largest_defect_within_reach_is_exact() -> None:
    rng = np.random.default_rng(4)
    values = np.abs(rng.normal(size=(40, 50)))
    field = DiscMaximum(values, x_min=1.0, y_min=-2.0, cell_m=CELL, reach_m=3.0)
    node_y, node_x = np.mgrid[0:40, 0:50] * CELL + np.array([-2.0, 1.0])[:, None, None]
    for x, y in rng.uniform((-1, -4), (15, 10), (200, 2)):
        there = np.hypot(node_x - x, node_y - y) <= 3.0
        exact = values[there].max() if there.any() else 0.0
        assert field.at(one(x), one(y))[0] == exact
        assert field.bound(one(x), one(y))[0] >= exact


def test_the_defect_just_within_three_metres_counts_and_just_beyond_does_not() -> None:
    z = np.zeros((60, 60))
    z[30, 30] = -0.05
    levels = Levels(worlds.ground(z), (0.0, 0.0, 15.0, 15.0))
    assert levels.defect.at(one(7.5 + 2.999), one(7.5))[0] == pytest.approx(0.05)
    assert levels.defect.at(one(7.5 + 3.001), one(7.5))[0] == 0.0


def test_a_window_changes_nothing() -> None:
    z = np.random.default_rng(5).normal(0, 0.02, (80, 90))
    whole = Levels(worlds.ground(z), (0.0, 0.0, 30.0, 30.0))
    part = Levels(worlds.ground(z), (8.0, 7.0, 12.0, 11.0))
    rng = np.random.default_rng(6)
    x, y = rng.uniform(8, 12, 100), rng.uniform(7, 11, 100)
    assert np.abs(whole.clean.at(x, y) - part.clean.at(x, y)).max() < 1e-12
