"""The shape of a machine: boxes that are convex, whole and no smaller than the machine; radii in closed form."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import LineString, MultiPoint, Point, Polygon
from shapely.ops import unary_union

from routeplan.machine.model import BasketEnd, Configuration, Machine
from routeplan.machine.read import build_machine, read_classes
from routeplan.machine.shape import CONFIGURATIONS, axles_m, configurations, hull, turn_radius_at_origin_m

CLASSES = sorted(read_classes())
#: Which configurations a class has besides ``stowed``.
MORE = {
    "slab-scissor-6m": ["stowed_rails_folded"],
    "slab-scissor-8m": ["stowed_rails_folded"],
    "slab-scissor-10m": ["stowed_rails_folded"],
    "rough-terrain-scissor-12m": ["stowed_rails_folded"],
    "electric-articulating-boom-15m": ["stowed_turned"],
    "articulating-boom-16m": ["stowed_turned"],
    "rough-terrain-boom-20m": ["stowed_turned"],
    "telescopic-boom-26m": ["stowed_turned"],
    "telescopic-boom-40m": ["stowed_turned"],
    "telescopic-boom-40m-axles-out": ["stowed_turned"],
}
EVERY = [(class_id, name) for class_id in CLASSES for name in ["stowed", *MORE.get(class_id, [])]]
TRACKED = ["tracked-spider-20m", "tracked-spider-20m-tracks-out"]
NOT_RIDDEN = {"push-around-mast-4m", *TRACKED, "trailer-boom-17m", "vehicle-boom-20m"}
EVERY_CONFIGURATION = pytest.mark.parametrize(("class_id", "name"), EVERY)


def machine(class_id: str) -> Machine:
    return build_machine("X", {"class": class_id}, where="test")


def extent_m(configuration: Configuration) -> tuple[float, float, float]:
    """Length, width and height of all boxes together."""
    points = [point for box in configuration.boxes for point in box.ring]
    xs, ys = zip(*points, strict=True)
    return max(xs) - min(xs), max(ys) - min(ys), max(box.top_m for box in configuration.boxes)


def test_each_class_has_its_configurations() -> None:
    for class_id in CLASSES:
        found = machine(class_id).configurations
        assert [*found] == ["stowed", *MORE.get(class_id, [])]
        assert all(configuration.id == name for name, configuration in found.items())
    assert {name for _, name in EVERY} == set(CONFIGURATIONS)


def test_a_sheet_s_folded_height_gives_the_configuration() -> None:
    sheet = {"class": "rough-terrain-scissor-18m", "measured": {"height_folded_m": 2.31}}
    assert "stowed_rails_folded" in build_machine("X", sheet, where="test").configurations


@EVERY_CONFIGURATION
def test_boxes_are_convex_and_anticlockwise(class_id: str, name: str) -> None:
    for box in machine(class_id).configurations[name].boxes:
        polygon = Polygon(box.ring)
        assert polygon.is_valid and polygon.exterior.is_ccw
        assert polygon.area == pytest.approx(polygon.convex_hull.area)
        assert 0 < box.bottom_m < box.top_m


@EVERY_CONFIGURATION
def test_boxes_together_are_as_long_wide_and_high_as_the_machine(class_id: str, name: str) -> None:
    one = machine(class_id)
    length_m, width_m, height_m = extent_m(one.configurations[name])
    high = "height_folded_m" if name == "stowed_rails_folded" else "height_m"
    assert (width_m, height_m) == pytest.approx((one.value("width_m"), one.value(high)))
    if name != "stowed_turned":
        assert length_m == pytest.approx(one.value("length_m"))
    else:
        # Turned round, a chassis off the turntable's axis may stand out behind the tail, by no more than this.
        off_m = abs(one.value("front_overhang_m") - one.value("rear_overhang_m"))
        assert one.value("length_m") - 1e-9 <= length_m <= one.value("length_m") + off_m


@EVERY_CONFIGURATION
def test_boxes_hang_together_and_lie_in_the_footprint(class_id: str, name: str) -> None:
    configuration = machine(class_id).configurations[name]
    rings = [Polygon(box.ring) for box in configuration.boxes]
    together, footprint = unary_union(rings), Polygon(configuration.footprint)
    assert together.geom_type == "Polygon"
    assert footprint.exterior.is_ccw and footprint.buffer(1e-9).covers(together)
    assert footprint.area == pytest.approx(together.convex_hull.area)


@EVERY_CONFIGURATION
def test_the_operator_stands_in_the_one_occupied_box_where_anybody_rides(class_id: str, name: str) -> None:
    configuration = machine(class_id).configurations[name]
    basket, occupied = configuration.basket, [box for box in configuration.boxes if box.occupied]
    centre = Polygon(basket.ring).centroid
    assert (basket.xi_m, basket.eta_m) == pytest.approx((centre.x, centre.y))
    assert len(occupied) == (class_id not in NOT_RIDDEN and name != "stowed_rails_folded")
    for box in occupied:
        assert basket.ring == box.ring
        assert box.bottom_m <= basket.floor_height_m < box.top_m


@pytest.mark.parametrize("class_id", [c for c, one in read_classes().items() if one.kind == "mast"])
def test_a_mast_may_be_anywhere_over_its_machine(class_id: str) -> None:
    chassis, mast, platform = machine(class_id).configurations["stowed"].boxes
    for other in (chassis, platform):
        assert Polygon(mast.ring).buffer(1e-9).covers(Polygon(other.ring))
    assert mast.bottom_m == chassis.top_m and mast.top_m == platform.top_m


@pytest.mark.parametrize("class_id", [class_id for class_id, more in MORE.items() if "stowed_rails_folded" in more])
def test_rails_folded_lower_the_top_and_nothing_else(class_id: str) -> None:
    one = machine(class_id)
    up, folded = one.configurations["stowed"], one.configurations["stowed_rails_folded"]
    assert extent_m(folded)[2] == one.value("height_folded_m") < one.value("height_m") == extent_m(up)[2]
    assert [box.ring for box in folded.boxes] == [box.ring for box in up.boxes]
    assert folded.basket == up.basket and folded.mass_kg == up.mass_kg


@pytest.mark.parametrize("class_id", CLASSES)
def test_wheels_stand_where_the_figures_say(class_id: str) -> None:
    one = machine(class_id)
    front_left, front_right, rear_left, rear_right = one.wheels
    rear_m, front_m = axles_m({name: figure.value for name, figure in one.figures.items()})
    assert (front_left.name, rear_right.name) == ("front_left", "rear_right")
    assert front_left.xi_m == front_right.xi_m == front_m and rear_left.xi_m == rear_right.xi_m == rear_m
    assert front_left.eta_m == -front_right.eta_m == one.value("track_m") / 2
    steers = class_id not in (*TRACKED, "trailer-boom-17m")
    assert [wheel.steered for wheel in one.wheels] == [steers, steers, False, False]
    oscillating = "oscillation_stop_deg" in one.figures
    assert [wheel.oscillating for wheel in one.wheels] == [oscillating, oscillating, False, False]


def test_only_a_tracked_machine_has_tracks() -> None:
    assert [class_id for class_id in CLASSES if machine(class_id).tracks] == TRACKED
    left, right = machine("tracked-spider-20m").tracks
    # 1.20 m on the ground about the origin, middles 0.60 m apart, 0.18 m wide.
    assert (left.name, left.xi_from_m, left.xi_to_m, left.eta_m, left.width_m) == ("left", -0.6, 0.6, 0.3, 0.18)
    assert (right.name, right.xi_from_m, right.xi_to_m, right.eta_m, right.width_m) == ("right", -0.6, 0.6, -0.3, 0.18)


@pytest.mark.parametrize("class_id", [c for c in CLASSES if "turn_radius_outside_m" in read_classes()[c].figures])
def test_the_turning_circle_lies_between_the_inside_and_the_outside_radius(class_id: str) -> None:
    one = machine(class_id)
    chassis = Polygon(one.configurations["stowed"].boxes[0].ring)
    radius_m = turn_radius_at_origin_m(
        outside_m=one.value("turn_radius_outside_m"),
        wheelbase_m=one.wheels[0].xi_m,
        front_overhang_m=one.value("front_overhang_m"),
        width_m=one.value("width_m"),
    )
    centre = Point(0.0, radius_m)
    path = centre.buffer(radius_m, quad_segs=64).exterior
    swept = unary_union([affinity.rotate(chassis, deg, origin=centre) for deg in range(0, 360, 2)])
    inside_m, outside_m = one.value("turn_radius_inside_m"), one.value("turn_radius_outside_m")
    # Not only within the sheet's radii: the corner runs on the outer one, and the inner one is not far off.
    farthest_m = swept.hausdorff_distance(centre)
    assert farthest_m == pytest.approx(outside_m, abs=1e-6)
    assert inside_m <= centre.distance(swept) <= inside_m + 0.1
    assert inside_m <= radius_m <= outside_m and swept.buffer(0.01).covers(LineString(path.coords))


@pytest.mark.parametrize("end", ["front", "rear"])
@pytest.mark.parametrize("turned", [False, True])
def test_a_basket_lies_beyond_the_axle_of_its_end(end: BasketEnd, turned: bool) -> None:
    values = {name: figure.value for name, figure in read_classes()["telescopic-boom-26m"].figures.items()}
    found = configurations(values, kind="boom", basket_end=end, ridden=True)
    configuration = found["stowed_turned" if turned else "stowed"]
    over = ("rear" if end == "front" else "front") if turned else end
    out, back = (max, min) if over == "front" else (min, max)
    far = out(x for x, _ in configuration.basket.ring)
    tail = back(x for x, _ in configuration.footprint)
    # 2.90 wheelbase, 6.50 basket overhang, 0.90 chassis overhang at both ends, 1.50 tail; axis in the middle at 1.45.
    assert (far, tail) == pytest.approx((9.40, -2.40) if over == "front" else (-6.50, 5.30))
    assert configuration.basket.end == over
    assert max(x for x, _ in configuration.basket.ring) - min(x for x, _ in configuration.basket.ring) == (
        pytest.approx(values["basket_length_m"])
    )
    assert extent_m(configuration)[0] == pytest.approx(11.80)


def test_a_turntable_off_the_middle_carries_the_turned_basket_twice_as_far_off() -> None:
    spec = {"class": "telescopic-boom-26m", "measured": {"turntable_xi_m": 1.25}}
    one = build_machine("X", spec, where="test")
    stowed, turned = (one.configurations[name] for name in ("stowed", "stowed_turned"))
    # From 6.50 behind the rear axle to 2 x 1.25 + 6.50 ahead of it; the tail from 5.30 to 2.50 - 5.30.
    assert (stowed.basket.end, turned.basket.end) == ("rear", "front")
    assert max(x for x, _ in turned.basket.ring) == pytest.approx(9.00)
    assert min(x for x, _ in turned.footprint) == pytest.approx(-2.80)
    assert turned.boxes[0] == stowed.boxes[0]


def test_a_turned_tail_never_uncovers_the_chassis() -> None:
    changes = {"tail_overhang_m": 0.0, "length_m": 10.30, "turntable_xi_m": 1.60}
    one = build_machine("X", {"class": "telescopic-boom-26m", "measured": changes}, where="test")
    turntable = one.configurations["stowed_turned"].boxes[1]
    # The tail, mirrored from the chassis's front at 3.80 to -0.60, lies short of the chassis's rear at -0.90.
    assert turntable.name == "turntable and tail" and min(x for x, _ in turntable.ring) == pytest.approx(-0.90)


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
