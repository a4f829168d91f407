"""Slopes of the clean ground and unknown levels, against planes whose slope is known."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import Point, box

from routeplan.report.contours import clean_levels, horn_gradient, slope_outlines, slope_pct, unknown_outline
from routeplan.site.model import Ground
from tests.worlds import ground

YARD = box(0.0, 0.0, 40.0, 30.0)


def plane(east_pct: float, north_pct: float, *, cell_m: float = 0.25) -> Ground:
    x = np.arange(round(40 / cell_m) + 1) * cell_m
    y = np.arange(round(30 / cell_m) + 1)[:, None] * cell_m
    return ground(east_pct / 100 * x + north_pct / 100 * y, cell_m=cell_m)


@pytest.mark.parametrize(("east_pct", "north_pct"), [(0.0, 0.0), (9.0, 0.0), (0.0, -14.0), (6.0, 8.0)])
@pytest.mark.parametrize("cell_m", [0.25, 0.5, 1.0, 2.0])
def test_the_slope_of_a_plane_is_its_slope_up_to_the_edges(east_pct: float, north_pct: float, cell_m: float) -> None:
    slopes = slope_pct(plane(east_pct, north_pct, cell_m=cell_m))
    assert slopes == pytest.approx(np.hypot(east_pct, north_pct), abs=1e-6)


@pytest.mark.parametrize("stride", [1, 3])
def test_an_unknown_level_leaves_it_and_the_eight_round_it_without_a_slope(stride: int) -> None:
    levels = plane(9.0, 4.0).z.copy()
    levels[40, 50] = np.nan
    unknown = np.isnan(np.hypot(*horn_gradient(levels, 0.25, stride=stride)))
    assert unknown[40 - stride : 41 + stride : stride, 50 - stride : 51 + stride : stride].all()
    assert unknown.sum() == 9


def test_outlines_hold_what_is_at_least_as_steep() -> None:
    found = dict(slope_outlines(plane(9.0, 0.0), YARD))
    assert sorted(found) == [5.0, 8.0]
    assert found[8.0].area > 0.95 * YARD.area


def test_a_ramp_is_outlined_where_it_stands() -> None:
    x = np.arange(161) * 0.25
    z = np.clip((x - 15.0) * 0.10, 0.0, 1.0) + np.zeros((121, 1))
    (five, outline), (eight, _) = slope_outlines(ground(z), YARD)
    assert (five, eight) == (5.0, 8.0)
    west, _, east, _ = outline.bounds
    assert west == pytest.approx(15.0, abs=1.1) and east == pytest.approx(25.0, abs=1.1)


@pytest.mark.parametrize("depth_m", [-0.3, 0.3])
def test_clean_ground_leaves_out_a_hole_and_a_bump_and_keeps_the_plane(depth_m: float) -> None:
    sloping = plane(6.0, 2.0)
    rough = sloping.z.copy()
    rough[40:43, 50:53] += depth_m
    cleaned = clean_levels(ground(rough))
    assert np.abs(cleaned - sloping.z)[4:-4, 4:-4].max() < 0.06
    assert np.abs(clean_levels(sloping) - sloping.z).max() < 1e-12


def test_clean_ground_is_closing_then_opening_by_the_square() -> None:
    z = np.random.default_rng(7).normal(size=(14, 17))

    def by_hand(levels: np.ndarray, pick: object) -> np.ndarray:
        rows, cols = levels.shape
        return np.array(
            [
                [pick(levels[max(0, r - 1) : r + 2, max(0, c - 1) : c + 2]) for c in range(cols)]  # type: ignore[operator]
                for r in range(rows)
            ]
        )

    closed = by_hand(by_hand(z, np.max), np.min)
    opened = by_hand(by_hand(closed, np.min), np.max)
    assert clean_levels(ground(z, cell_m=0.5))[4:-4, 4:-4] == pytest.approx(opened[4:-4, 4:-4])


def test_unknown_levels_are_shown_and_never_given_a_slope() -> None:
    level = plane(9.0, 0.0)
    level.z[60:80, 100:120] = np.nan
    hole = Point(27.5, 17.5)
    assert unknown_outline(level, YARD).contains(hole)
    assert np.isnan(slope_pct(level)[70, 110])
    assert not any(outline.contains(hole) for _, outline in slope_outlines(level, YARD))


def test_ground_beyond_the_raster_is_unknown() -> None:
    outside = unknown_outline(plane(0.0, 0.0), box(-10.0, 0.0, 40.0, 30.0))
    assert outside.area == pytest.approx(300.0)
    assert unknown_outline(plane(0.0, 0.0), YARD).is_empty
