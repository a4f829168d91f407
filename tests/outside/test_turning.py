"""Turning: published worked examples through the radius that machine classes, search and second opinion use."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely import hausdorff_distance
from shapely.affinity import rotate, translate
from shapely.geometry import LinearRing, Point

from routeplan.hazards.sweep import along
from routeplan.machine.modelled import not_modelled
from routeplan.machine.read import build_machine, read_classes
from routeplan.machine.shape import chassis_m, turn_radius_at_origin_m
from routeplan.recheck.steering import turn_radius_m
from tests import worlds


def origin_radius(*, outside: float, wheelbase: float, overhang: float, width: float) -> float:
    """The radius at the origin by both rooms, which must agree; one unit of length, whatever it is."""
    machine = worlds.scissor(
        turn_radius_outside_m=outside, wheelbase_m=wheelbase, front_overhang_m=overhang, width_m=width
    )
    first = turn_radius_at_origin_m(
        outside_m=outside, wheelbase_m=wheelbase, front_overhang_m=overhang, width_m=width
    )
    assert turn_radius_m(machine) == pytest.approx(first, abs=1e-12)
    return first


def test_worked_example_of_a_steered_axle() -> None:
    """Wheelbase 198 in, kingpins 77 in apart, inner wheel at 30 deg: outer front radius 464.3 in, inner side 342.9 in.

    miweblink2.metro-inet.us/RVPublic/0/doc/17311/Page39.aspx; the outer wheel's 25.243 deg is arithmetic on it.
    """
    middle = origin_radius(outside=464.283, wheelbase=198.0, overhang=0.0, width=77.0)
    assert middle - 77.0 / 2 == pytest.approx(342.9, abs=0.1)
    inner, outer = (math.atan(198.0 / (middle + side * 77.0 / 2)) for side in (-1, 1))
    assert math.degrees(inner) == pytest.approx(30.0, abs=0.005)
    assert math.degrees(outer) == pytest.approx(25.243, abs=0.005)
    assert 1 / math.tan(outer) - 1 / math.tan(inner) == pytest.approx(77.0 / 198.0, abs=1e-9), "Ackermann's condition"


@pytest.mark.parametrize(("radius", "wheelbase", "off_tracking"), [
    (15.0, 6.0, 1.25227), (10.0, 3.0, 0.46061), (5.0, 1.9, 0.37507), (50.0, 20.0, 4.17424),
])
def test_off_tracking(radius: float, wheelbase: float, off_tracking: float) -> None:
    """R - sqrt(R^2 - L^2), radius at the middle of the steered axle (formula from memory, SAE J695)."""
    inner = origin_radius(outside=radius, wheelbase=wheelbase, overhang=0.0, width=0.0)
    assert radius - inner == pytest.approx(off_tracking, abs=5e-6)


@pytest.mark.parametrize(("centre", "wheelbase", "width", "inner", "within"), [
    (21.0, 11.0, 7.0, 14.389, 0.0005),
    (37.8, 25.0, 8.5, 24.5, 0.5),
    (38.0, 20.0, 8.0, 28.4, 0.15),
])
def test_design_vehicles(centre: float, wheelbase: float, width: float, inner: float, within: float) -> None:
    """Inner rear radii in feet of a passenger car, a city bus and a single-unit truck.

    14.4 and 24.5: sddc.army.mil turn characteristics, whose two row labels are swapped; 28.4, centre radii, wheelbases
    and widths from memory (AASHTO).
    """
    rear_middle = origin_radius(outside=centre, wheelbase=wheelbase, overhang=0.0, width=0.0)
    assert rear_middle - width / 2 == pytest.approx(inner, abs=within)


def test_swept_width() -> None:
    """R 2, W 1.2, L 2, f 0.4: outer corner at 3.53836, inner side at 1.4 (plane geometry, arithmetic)."""
    assert origin_radius(outside=3.53836, wheelbase=2.0, overhang=0.4, width=1.2) == pytest.approx(2.0, abs=5e-6)


DRIVEN = [
    name
    for name in sorted(read_classes())
    if not_modelled(build_machine("m", {"class": name}, where="test")) is None
]


@pytest.mark.parametrize("class_id", DRIVEN)
def test_the_tightest_circle_keeps_to_the_circles_of_the_sheet(class_id: str) -> None:
    """Driven all round at full lock, a chassis stays between the inside and the outside turning circle.

    Poses by the search's own arc; a corner of the chassis touches the outer circle, its side keeps off the inner one.
    """
    machine = build_machine("m", {"class": class_id}, where="test")
    radius_m, (rear, front) = turn_radius_m(machine), chassis_m({n: f.value for n, f in machine.figures.items()})
    half = machine.value("width_m") / 2
    outline = LinearRing([(rear, -half), (front, -half), (front, half), (rear, half)])
    centre, reaches, nears = Point(0.0, radius_m), [], []
    for distance in np.linspace(0.0, math.tau * radius_m, 73):
        x, y, heading = along(0.0, 0.0, 0.0, distance, 1.0 / radius_m, 0.0, 0.0)
        body = translate(rotate(outline, heading, origin=(0, 0), use_radians=True), x, y)
        reaches.append(hausdorff_distance(body, centre))
        nears.append(body.distance(centre))
    assert max(reaches) == pytest.approx(machine.value("turn_radius_outside_m"), abs=1e-9)
    assert min(nears) >= machine.value("turn_radius_inside_m") - 1e-9
