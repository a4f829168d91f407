"""Hollows of the ground: a published grid with two lakes, and hollows whose depth follows by hand."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import Polygon, box

from routeplan.site.hollows import Hollow, filled, hollows
from tests import worlds

Array = NDArray[np.float64]

#: landlab/landlab, fill_sinks.py (public copy): the example's two lakes, their nodes row by row, ten in a row.
LAKE_1 = [34, 35, 36, 44, 45, 46, 54, 55, 56, 65, 74]
LAKE_2 = [78, 87, 88]
EVERYWHERE = box(-1.0, -1.0, 10.0, 10.0)


def published_grid() -> Array:
    """The example's levels: a slope of 1 in 1 from column 0, six nodes a hair higher, both lakes dug down to 0."""
    levels = np.tile(1.0 + np.arange(10.0), 10)
    levels[[23, 33, 53, 63, 73, 83]] += 0.001
    levels[LAKE_1 + LAKE_2] = 0.0
    return levels.reshape(10, 10)


def test_published_lakes() -> None:
    """Lake 1 stands at 4.0, lake 2 at 7.0, nothing else moves; the sum of what is filled, 65.0, is arithmetic."""
    levels = published_grid()
    expected = levels.ravel().copy()
    expected[LAKE_1], expected[LAKE_2] = 4.0, 7.0
    assert np.array_equal(filled(levels).ravel(), expected)
    assert (filled(levels) - levels).sum() == pytest.approx(65.0, abs=1e-9)


def test_published_lakes_as_hollows() -> None:
    first, second = hollows(worlds.ground(published_grid(), cell_m=1.0), EVERYWHERE)
    assert (first.depth_m, first.area_m2) == (7.0, len(LAKE_2))
    assert (second.depth_m, second.area_m2) == (4.0, len(LAKE_1))
    assert 10 * first.y + first.x in LAKE_2 and 10 * second.y + second.x in LAKE_1


def bowl(middle: float = 1.0, outlet: float = 3.0) -> Array:
    """Three by three nodes, the rim at 5.0 but for one corner."""
    levels = np.full((3, 3), 5.0)
    levels[1, 1], levels[2, 0] = middle, outlet
    return levels


def test_a_bowl_fills_to_its_outlet() -> None:
    """Rim 5, one rim node 3, middle 1: the middle fills to 3, 2 deep (arithmetic)."""
    levels = bowl()
    assert filled(levels)[1, 1] == 3.0
    assert np.array_equal(np.argwhere(filled(levels) != levels), [[1, 1]])


def test_water_runs_off_where_a_level_is_unknown() -> None:
    levels = np.pad(bowl(), 1, constant_values=5.0)
    assert filled(levels)[2, 2] == 5.0, "the outlet of 3.0 is walled in"
    levels[3, 1] = np.nan
    assert np.array_equal(filled(levels), levels, equal_nan=True)


def dug(depth_m: float, rows: slice, columns: slice) -> Array:
    """A level yard of 10 m x 10 m, nodes every 0.5 m, with a flat hollow."""
    levels = np.full((21, 21), 6.0)
    levels[rows, columns] -= depth_m
    return levels


@pytest.mark.parametrize(("depth_m", "nodes", "shown"), [(0.019, 2, False), (0.021, 2, True), (0.021, 1, False)])
def test_what_counts_as_a_hollow(depth_m: float, nodes: int, shown: bool) -> None:
    levels = dug(depth_m, slice(8, 9), slice(4, 4 + nodes))
    found = hollows(worlds.ground(levels, cell_m=0.5), EVERYWHERE)
    assert [round(hollow.depth_m, 6) for hollow in found] == ([depth_m] if shown else [])


def test_only_the_part_inside_the_outline_counts() -> None:
    levels = dug(0.2, slice(8, 12), slice(4, 12))
    levels[9, 11] = 5.5
    ground = worlds.ground(levels, cell_m=0.5)
    assert hollows(ground, EVERYWHERE) == [Hollow(0.5, 8.0, 5.5, 4.5)]
    (inside,) = hollows(ground, box(0.0, 0.0, 3.6, 10.0))
    assert inside.depth_m == pytest.approx(0.2) and inside.area_m2 == 4.0
    assert hollows(ground, box(4.9, 3.9, 10.0, 10.0)) == [Hollow(0.5, 2.0, 5.5, 4.5)]
    assert hollows(ground, box(6.0, 0.0, 10.0, 10.0)) == hollows(ground, Polygon()) == []
