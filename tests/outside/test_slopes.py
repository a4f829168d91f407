"""Slopes: published raster examples through the map's slope and the second opinion's stance, planes, and ratings.

The map's slope contours are Horn's slope of the clean ground, and the published examples pass through its function as
they are. The checks take no Horn slope: they stand the machine on four wheel levels. Yet Horn's slope of a 3 x 3 window
is the mean of two gradients: that of its four corners, and that of the four cells beside the middle. A machine whose
four contacts stand on the corners, and one turned by 45 degrees whose contacts stand on the four cells beside the
middle, therefore measure it between them. So the same examples pass through the levels, the contacts and the mean plane
of the second opinion.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
from numpy.typing import NDArray

from routeplan.hazards import arrays
from routeplan.hazards.attitude import Stance, Tube
from routeplan.hazards.body import build_body
from routeplan.hazards.ground import OUT, slope_margins
from routeplan.hazards.set_up import leans
from routeplan.hazards.terrain import build_terrain
from routeplan.recheck.attitude import rating_deg
from routeplan.recheck.levels import Raster
from routeplan.recheck.set_up import whichever_way
from routeplan.recheck.stance import mean_plane
from routeplan.report.contours import horn_gradient, slope_pct
from routeplan.site.model import GridSpec
from tests import worlds

Array = NDArray[np.float64]

#: desktop.arcgis.com/en/arcmap/10.4/tools/3d-analyst-toolbox/how-slope-works.htm, window with cell 5; north row first.
WINDOW = np.array([[50.0, 45.0, 50.0], [30.0, 30.0, 30.0], [8.0, 10.0, 10.0]])

#: makepath/xarray-spatial conftest.py (raster, cell 1) and test_slope.py (another program's answer), public copies.
RASTER = np.array([
    [704.237, 242.24084, 429.3324, 779.8816, 193.29506, 984.6926],
    [226.56795, 815.7483, 290.6041, 76.49687, 820.89716, 32.27882],
    [344.8238, 256.34998, 806.8326, 602.0442, 721.1633, 496.95636],
    [185.43515, 834.10425, 387.0871, 716.0262, 49.61273, 752.95483],
    [302.4271, 151.49211, 442.32797, 358.4702, 659.8187, 447.1241],
    [148.04834, 819.2133, 468.97913, 977.11694, 597.69666, 999.14185],
    [268.1575, 625.96466, 840.26483, 448.28333, 859.2699, 528.04095],
])
SLOPES_DEG = np.array([
    [88.56143, 89.45366, 89.50229, 88.82584],
    [89.61588, 89.47127, 89.24196, 88.385376],
    [89.61132, 89.59183, 89.56854, 88.90889],
    [89.42886, 89.25054, 89.60963, 89.71719],
    [89.75693, 89.67336, 89.502174, 89.24611],
])


def drawn(rows_from_north: Array, cell_m: float, *, stride: int = 1) -> Array:
    """East and north gradient of the map's function, north row first like its levels, ``(rows, columns, 2)``."""
    east, north = horn_gradient(np.flipud(rows_from_north), cell_m, stride=stride)
    return np.flipud(np.dstack([east, north]))


def gradient(raster: Raster, x: float, y: float, *, heading: float, side_m: float) -> Array:
    """East and north gradient of the mean plane of a square machine whose middle stands at a point."""
    along, left = np.array([math.cos(heading), math.sin(heading)]), np.array([-math.sin(heading), math.cos(heading)])
    contacts = [along * a + left * b for a, b in ((1, 1), (1, -1), (-1, 1), (-1, -1))]
    offset = np.array(contacts) * side_m / 2
    levels = raster.at(x + offset[:, 0], y + offset[:, 1])
    plane = mean_plane(levels, wheelbase_m=side_m, track_m=side_m, xi_rear_m=0.0)
    return np.asarray(along * float(plane.pitch) + left * float(plane.roll))


def beside(raster: Raster, x: float, y: float, cell_m: float) -> Array:
    """The gradient between the four cells beside the middle."""
    return gradient(raster, x, y, heading=math.pi / 4, side_m=math.sqrt(2.0) * cell_m)


def horn(raster: Raster, x: float, y: float, cell_m: float) -> Array:
    """Mean of the gradient of the corners and that of the cells beside the middle."""
    corners = gradient(raster, x, y, heading=math.pi / 2, side_m=2.0 * cell_m)
    return np.asarray((corners + beside(raster, x, y, cell_m)) / 2.0)


def degrees(slope: Array) -> Array:
    return np.degrees(np.arctan(np.hypot(slope[..., 0], slope[..., 1])))


def raster_of(rows_from_north: Array, cell_m: float) -> Raster:
    return Raster(np.flipud(rows_from_north), x_min=0.0, y_min=0.0, cell_m=cell_m)


def test_published_window() -> None:
    for slope in (drawn(WINDOW, 5.0)[1, 1], horn(raster_of(WINDOW, 5.0), 5.0, 5.0, 5.0)):
        assert slope == pytest.approx([0.05, 3.8], abs=1e-9), "north is up: dz/dy counts rows downwards in the source"
        assert degrees(slope) == pytest.approx(75.25762, abs=1e-4)


def test_cells_beside_the_middle_give_another_slope() -> None:
    """Zevenbergen and Thorne's form (from memory) of the same window."""
    slope = beside(raster_of(WINDOW, 5.0), 5.0, 5.0, 5.0)
    assert slope == pytest.approx([0.0, 3.5], abs=1e-9)
    assert degrees(slope) == pytest.approx(74.0546, abs=1e-4)


def test_published_raster_on_the_map() -> None:
    assert np.abs(degrees(drawn(RASTER, 1.0))[1:-1, 1:-1] - SLOPES_DEG).max() < 2e-5


def test_published_raster_on_the_map_between_closer_nodes() -> None:
    """The same levels on every second node, half a metre apart, with anything at all in between."""
    levels = np.random.default_rng(5).uniform(0.0, 1000.0, (13, 11))
    levels[::2, ::2] = RASTER
    found = degrees(drawn(levels, 0.5, stride=2))[2:-2:2, 2:-2:2]
    assert np.abs(found - SLOPES_DEG).max() < 2e-5


def test_published_raster_under_a_machine() -> None:
    raster = raster_of(RASTER, 1.0)
    measured = np.array([[horn(raster, float(x), float(y), 1.0) for x in range(1, 5)] for y in range(5, 0, -1)])
    assert np.abs(degrees(measured) - SLOPES_DEG).max() < 2e-5


def plane_levels(east: float, north: float, cell_m: float = 0.25) -> Array:
    y, x = np.mgrid[0:41, 0:41] * cell_m
    return np.asarray(east * x + north * y)


def test_slope_of_a_plane_is_exact() -> None:
    """z = 0.03 x + 0.04 y has the gradient 0.05: arithmetic."""
    ground = worlds.ground(plane_levels(0.03, 0.04))
    east, north = horn_gradient(ground.z, 0.25, stride=1)
    assert east == pytest.approx(0.03, abs=1e-12) and north == pytest.approx(0.04, abs=1e-12)
    assert slope_pct(ground) == pytest.approx(5.0, abs=1e-9)
    terrain = build_terrain(ground, GridSpec())
    inside = (slice(10, -10), slice(10, -10))  # drawn over three nodes each way, and the edge's own
    assert terrain.gx[inside] == pytest.approx(0.03, abs=1e-12)
    assert terrain.gy[inside] == pytest.approx(0.04, abs=1e-12)


@pytest.mark.parametrize(("angle_deg", "slope", "along", "across"), [
    (0.0, (0.04, 0.03), 0.04, 0.03),
    (45.0, (0.10, 0.0), 0.070711, -0.070711),
    (135.0, (0.10, 0.0), -0.070711, -0.070711),
])
def test_along_and_across(angle_deg: float, slope: tuple[float, float], along: float, across: float) -> None:
    """4 % along and 3 % across make 5 %; 45 deg off the fall line of 10 % is 7.0711 % each way: arithmetic."""
    raster = Raster(plane_levels(*slope), x_min=0.0, y_min=0.0, cell_m=0.25)
    heading = math.radians(angle_deg)
    found = gradient(raster, 5.0, 5.0, heading=heading, side_m=2.0)
    ahead, left = (math.cos(heading), math.sin(heading)), (-math.sin(heading), math.cos(heading))
    assert float(found @ ahead) == pytest.approx(along, abs=1e-6)
    assert float(found @ left) == pytest.approx(across, abs=1e-6)


#: Percent, degrees as printed, half of the last printed digit. For 1, 10, 3.49 to 8.75 and 17.6 to 28.7 %:
#: engineeringtoolbox.com/slope-degrees-gradient-grade-d_1562.html; the others are arithmetic.
RATINGS = [
    (0.5, 0.29, 0.005), (1.0, 0.57, 0.005), (2.0, 1.15, 0.005), (5.0, 2.86, 0.005), (100.0 / 12.0, 4.76, 0.005),
    (10.0, 5.71, 0.005), (25.0, 14.0, 0.05), (100.0 / 3.0, 18.4, 0.05), (100.0, 45.0, 0.05), (3.49, 2.0, 0.005),
    (5.24, 3.0, 0.005), (8.75, 5.0, 0.005), (17.6, 10.0, 0.05), (26.8, 15.0, 0.05), (28.7, 16.0, 0.05),
    (43.0, 23.27, 0.005),
    (30.0, 16.699, 0.0005), (35.0, 19.290, 0.0005), (40.0, 21.801, 0.0005), (45.0, 24.228, 0.0005),
    (2.619, 1.5, 0.0005), (6.993, 4.0, 0.0005), (7.870, 4.5, 0.0005),
]


def searched_limits_deg(rating_pct: float) -> Iterator[float]:
    """What the search allows on level ground: gradeability and side slope, degrees."""
    machine = worlds.scissor(
        gradeability_basket_uphill_pct=rating_pct,
        gradeability_basket_downhill_pct=rating_pct,
        side_slope_pct=rating_pct,
    )
    body = build_body(worlds.flat_site(machines=(machine,)), machine, machine.configurations["stowed"], ridden=True)
    out = np.full(OUT, 100.0)
    slope_margins(body, 0.0, 0.0, 0.0, 0.0, out)
    yield from (float(out[arrays.GRADE]), float(out[arrays.SIDE_SLOPE]))


@pytest.mark.parametrize(("rating_pct", "printed_deg", "within_deg"), RATINGS)
def test_ratings_in_degrees(rating_pct: float, printed_deg: float, within_deg: float) -> None:
    for limit_deg in (*searched_limits_deg(rating_pct), rating_deg(rating_pct)):
        assert limit_deg == pytest.approx(printed_deg, abs=within_deg * 1.001)


def test_a_misprinted_table_is_not_followed() -> None:
    """1:10 is printed as 5.74 deg in a widely copied table (scribd.com/document/592832116); right is 5.711."""
    assert abs(rating_deg(10.0) - 5.74) > 0.02
    assert all(abs(limit - 5.74) > 0.02 for limit in searched_limits_deg(10.0))


def test_level_and_tape_is_a_tangent() -> None:
    """0.5 m over a level 2 m straightedge is 25 % (common practice, no source), 14.04 deg, not the sine's 14.48."""
    raster = Raster(plane_levels(0.5 / 2.0, 0.0), x_min=0.0, y_min=0.0, cell_m=0.25)
    assert degrees(gradient(raster, 5.0, 5.0, heading=0.0, side_m=2.0)) == pytest.approx(14.036, abs=0.001)


#: Standing on level ground, nothing uncertain.
LEVEL = Stance(True, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, Tube(0.0, 0.0, 0.0, 0.0))


@pytest.mark.parametrize(("grade_pct", "cut_out_deg"), [(3.49, 2.0), (5.24, 3.0), (8.75, 5.0)])
def test_tilt_cut_outs_on_a_road_crossfall(grade_pct: float, cut_out_deg: float) -> None:
    """engineeringtoolbox.com/slope-degrees-gradient-grade-d_1562.html: cut-outs of 2, 3 and 5 deg in percent.

    A chassis on that grade leans by just the cut-out, along, across, and whichever way at 4 along and 3 across of 5.
    """
    slope = grade_pct / 100.0
    machine = worlds.scissor(
        tilt_side_deg=cut_out_deg, tilt_long_deg=cut_out_deg, tilt_any_deg=cut_out_deg, tilt_sensor_tolerance_deg=0.0
    )
    for pitch, roll, axes in ((0.0, slope, (1, 0, 1)), (slope, 0.0, (0, 1, 1)), (0.8 * slope, 0.6 * slope, (0, 0, 1))):
        stance = LEVEL._replace(pitch=pitch, roll=roll)
        at_it = [abs(lean.margin) < 0.006 for lean in leans(machine, [stance], 0.0, 0.0)]
        assert at_it == [bool(axis) for axis in axes]
        second = math.degrees(float(whichever_way(np.array(pitch), np.array(roll))))
        assert second == pytest.approx(cut_out_deg, abs=0.006)
