"""The shape of a machine: boxes that are convex, whole and no smaller than the machine; radii in closed form."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import MultiPoint, Polygon
from shapely.ops import unary_union

from routeplan.machine.model import Configuration, Machine
from routeplan.machine.read import build_machine, read_classes
from routeplan.machine.shape import hull, stowed, turn_radius_at_origin_m

CLASSES = sorted(read_classes())


def machine(class_id: str) -> Machine:
    return build_machine("X", {"class": class_id}, where="test")


def extent_m(configuration: Configuration) -> tuple[float, float, float]:
    """Length, width and height of all boxes together."""
    points = [point for box in configuration.boxes for point in box.ring]
    xs, ys = zip(*points, strict=True)
    return max(xs) - min(xs), max(ys) - min(ys), max(box.top_m for box in configuration.boxes)


@pytest.mark.parametrize("class_id", CLASSES)
def test_boxes_are_convex_and_anticlockwise(class_id: str) -> None:
    for box in machine(class_id).configurations["stowed"].boxes:
        polygon = Polygon(box.ring)
        assert polygon.is_valid and polygon.exterior.is_ccw
        assert polygon.area == pytest.approx(polygon.convex_hull.area)
        assert 0 < box.bottom_m < box.top_m


@pytest.mark.parametrize("class_id", CLASSES)
def test_boxes_together_are_as_long_wide_and_high_as_the_machine(class_id: str) -> None:
    one = machine(class_id)
    size = extent_m(one.configurations["stowed"])
    assert size == pytest.approx((one.value("length_m"), one.value("width_m"), one.value("height_m")))


@pytest.mark.parametrize("class_id", CLASSES)
def test_boxes_hang_together_and_lie_in_the_footprint(class_id: str) -> None:
    configuration = machine(class_id).configurations["stowed"]
    rings = [Polygon(box.ring) for box in configuration.boxes]
    together, footprint = unary_union(rings), Polygon(configuration.footprint)
    assert together.geom_type == "Polygon"
    assert footprint.exterior.is_ccw and footprint.buffer(1e-9).covers(together)
    assert footprint.area == pytest.approx(together.convex_hull.area)


@pytest.mark.parametrize("class_id", CLASSES)
def test_one_box_is_occupied_and_the_operator_stands_in_it(class_id: str) -> None:
    configuration = machine(class_id).configurations["stowed"]
    (occupied,) = (box for box in configuration.boxes if box.occupied)
    basket = configuration.basket
    assert basket.ring == occupied.ring
    centre = Polygon(basket.ring).centroid
    assert (basket.xi_m, basket.eta_m) == pytest.approx((centre.x, centre.y))
    assert occupied.bottom_m <= basket.floor_height_m < occupied.top_m


@pytest.mark.parametrize("class_id", CLASSES)
def test_wheels_stand_where_the_figures_say(class_id: str) -> None:
    one = machine(class_id)
    front_left, front_right, rear_left, rear_right = one.wheels
    assert (front_left.name, rear_right.name) == ("front_left", "rear_right")
    assert front_left.xi_m == front_right.xi_m == one.value("wheelbase_m") and rear_left.xi_m == rear_right.xi_m == 0.0
    assert front_left.eta_m == -front_right.eta_m == one.value("track_m") / 2
    assert front_left.steered and front_right.steered and not rear_left.steered and not rear_right.steered
    oscillating = "oscillation_stop_deg" in one.figures
    assert [wheel.oscillating for wheel in one.wheels] == [oscillating, oscillating, False, False]


@pytest.mark.parametrize("end", ["front", "rear"])
def test_a_basket_lies_beyond_the_axle_of_its_end(end: str) -> None:
    values = {name: figure.value for name, figure in read_classes()["telescopic-boom-26m"].figures.items()}
    configuration = stowed(values, kind="boom", basket_end="front" if end == "front" else "rear")
    out, back = (max, min) if end == "front" else (min, max)
    far = out(x for x, _ in configuration.basket.ring)
    tail = back(x for x, _ in configuration.footprint)
    # 2.90 wheelbase, 6.50 basket overhang, 0.90 chassis overhang at both ends, 1.50 tail.
    assert (far, tail) == pytest.approx((9.40, -2.40) if end == "front" else (-6.50, 5.30))
    assert configuration.basket.end == end
    assert extent_m(configuration)[0] == pytest.approx(11.80)


def test_the_basket_underside_is_0_15_m_below_its_floor() -> None:
    configuration = machine("articulating-boom-16m").configurations["stowed"]
    (basket,) = (box for box in configuration.boxes if box.name == "basket")
    assert configuration.basket.floor_height_m - basket.bottom_m == pytest.approx(0.15)


def test_turn_radius_at_the_origin_closes_the_triangle() -> None:
    radius_m = turn_radius_at_origin_m(outside_m=6.0, wheelbase_m=2.6, front_overhang_m=0.7, width_m=2.3)
    assert math.hypot(3.3, radius_m + 1.15) == pytest.approx(6.0)
    assert math.isnan(turn_radius_at_origin_m(outside_m=3.0, wheelbase_m=2.6, front_overhang_m=0.7, width_m=2.3))


@given(st.lists(st.tuples(st.integers(-5, 5), st.integers(-5, 5)), min_size=3, max_size=12))
def test_hull_agrees_with_shapely(points: list[tuple[int, int]]) -> None:
    expected = MultiPoint(points).convex_hull
    if expected.geom_type == "Polygon":
        found = Polygon(hull([(float(x), float(y)) for x, y in points]))
        assert found.equals(expected) and found.exterior.is_ccw
        assert len(found.exterior.coords) == len(expected.exterior.coords)
