"""Stance, levers, sigmas, turning and k of the second opinion against closed forms and outside numbers."""

from __future__ import annotations

import dataclasses
import math
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest

from routeplan.machine.model import Figure
from routeplan.recheck.attitude import rating_deg
from routeplan.recheck.bounce import levers
from routeplan.recheck.stance import Plane, mean_plane, planes_of
from routeplan.recheck.steering import turn_radius_m
from routeplan.recheck.track import Floats, envelope, read_rows, subdivide
from routeplan.recheck.uncertainty import Sigmas, confidence_k
from routeplan.recheck.wheels import hole_drop_m
from routeplan.site.model import Accuracy
from tests import worlds
from tests.recheck.drives import drive

RIGID: dict[str, Any] = {"wheelbase_m": 2.5, "track_m": 2.0, "xi_rear_m": 0.0, "follow": (0, 0.0)}
PLACES = np.array([(2.5, 1.0), (2.5, -1.0), (0.0, 1.0), (0.0, -1.0)])


def heights_at_wheels(plane: Plane, which: int) -> Floats:
    xi, eta = PLACES.T
    return np.asarray(plane.level[which] + plane.pitch[which] * xi + plane.roll[which] * eta)


def test_a_rigid_chassis_stands_on_the_high_diagonal_and_one_more_wheel() -> None:
    rng = np.random.default_rng(1)
    for level in rng.normal(0, 0.05, (200, 4)):
        planes = planes_of(level, **RIGID)
        twist = level[0] + level[3] - level[1] - level[2]
        high, low = ([0, 3], [1, 2]) if twist > 0 else ([1, 2], [0, 3])
        touched = set()
        for which in (0, 1):
            above = heights_at_wheels(planes, which) - level
            assert above.min() > -1e-12
            assert np.abs(above[high]).max() < 1e-12
            touched |= {wheel for wheel in low if abs(above[wheel]) < 1e-12}
        assert touched == set(low)


@pytest.mark.parametrize("axle", [1, -1])
def test_an_oscillating_axle_follows_to_its_stop_and_no_further(axle: int) -> None:
    stop = math.tan(math.radians(6.0))
    level = np.array([0.10, 0.0, 0.0, 0.0])
    planes = planes_of(level, **(RIGID | {"follow": (axle, stop)}))
    assert np.ptp(planes.pitch) < 1e-12 and np.ptp(planes.roll) < 1e-12
    beyond = np.array([0.30, 0.0, 0.0, 0.0])
    planes = planes_of(beyond, **(RIGID | {"follow": (axle, stop)}))
    left_of_twist = 0.30 - 2.0 * stop
    assert np.ptp(planes.roll) == pytest.approx(left_of_twist / 2.0)
    assert np.ptp(planes.pitch) == pytest.approx(left_of_twist / 2.5)


def test_twenty_millimetres_of_twist_on_a_narrow_track() -> None:
    """20 mm of twist on a 0.70 m track rocks the chassis over 1.64 deg of roll (derived from atan(w/T))."""
    planes = planes_of(np.array([0.02, 0.0, 0.0, 0.0]), wheelbase_m=1.85, track_m=0.70, xi_rear_m=0.0, follow=(0, 0.0))
    assert np.ptp(np.degrees(np.arctan(planes.roll))) == pytest.approx(math.degrees(math.atan(0.02 / 0.70)))


def test_the_mean_plane_is_the_two_axle_fit() -> None:
    xi, eta = PLACES.T
    plane = mean_plane(1.0 + 0.1 * xi - 0.2 * eta, wheelbase_m=2.5, track_m=2.0, xi_rear_m=0.0)
    assert (plane.level, plane.pitch, plane.roll) == pytest.approx((1.0, 0.1, -0.2))


@pytest.mark.parametrize(
    ("wheelbase_m", "ahead_m", "rise_m", "expected_m"),
    [(2.0, 12.0, 0.10, 0.700), (2.0, 0.5, 0.05, 0.0625), (2.0, 10.0, 1.0, 6.0)],
)
def test_levers_of_an_axle(wheelbase_m: float, ahead_m: float, rise_m: float, expected_m: float) -> None:
    """One axle rises h: (1 + x/L) h at a point x ahead of it; 6:1 needs x = 5 L (plane geometry, derived here)."""
    machine = worlds.scissor(wheelbase_m=wheelbase_m)
    found = levers(machine, np.array([wheelbase_m + ahead_m]), np.array([0.0]))[0]
    assert found[0] * rise_m == pytest.approx(expected_m)
    assert found[2] == pytest.approx(ahead_m / wheelbase_m)


def test_one_wheel_may_be_worse_than_both() -> None:
    machine = worlds.scissor(wheelbase_m=2.0, track_m=0.7)
    found = levers(machine, np.array([1.0]), np.array([0.4]))[0]
    assert np.all(found == 0.25 + 0.4 / 0.7)


@pytest.mark.parametrize(
    ("radius_m", "width_m", "drop_mm"), [(0.15, 0.15, 20.096), (0.30, 0.30, 40.192), (0.50, 0.30, 23.030)]
)
def test_the_drop_of_a_wheel_into_a_slot(radius_m: float, width_m: float, drop_mm: float) -> None:
    """R - sqrt(R^2 - (w/2)^2): circle over a chord, derived here."""
    assert hole_drop_m(1.0, width_m, radius_m) * 1000 == pytest.approx(drop_mm, abs=5e-4)
    assert hole_drop_m(0.005, width_m, radius_m) == 0.005
    assert hole_drop_m(1.0, 2 * radius_m, radius_m) == 1.0


@pytest.mark.parametrize(("outside", "front", "width", "radius"), [(3.53836, 2.4, 1.2, 2.0), (21.0, 11.0, 7.0, 14.389)])
def test_turn_radius_of_the_origin(outside: float, front: float, width: float, radius: float) -> None:
    """Swept width of a rigid machine (plane geometry); and the AASHTO passenger car, inner rear radius 14.4 ft.

    The second row's 14.4 ft is as shown in a public copy of the AASHTO table; its inputs are values from memory.
    """
    machine = worlds.scissor(
        turn_radius_outside_m=outside, front_overhang_m=0.4, wheelbase_m=front - 0.4, width_m=width
    )
    assert turn_radius_m(machine) == pytest.approx(radius, abs=1e-3)


def test_ratings_are_angles_of_percentages() -> None:
    assert rating_deg(10.0) == pytest.approx(5.7106, abs=1e-4)
    assert rating_deg(100.0) == pytest.approx(45.0)


def accuracy(**changes: Any) -> Accuracy:
    return dataclasses.replace(worlds.GOOD_SURVEY, **changes)


def test_sigmas_agree_with_a_simulation_of_correlated_contacts() -> None:
    machine = worlds.boom()
    length, track = machine.wheelbase_m, machine.track_m
    sigmas = Sigmas.of(machine, accuracy(short_range_m=0.02, correlation_m=2.0))
    places = np.array([(w.xi_m, w.eta_m) for w in machine.wheels])
    distance = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    draws = np.random.default_rng(13).multivariate_normal(np.zeros(4), 0.02**2 * np.exp(-distance / 2.0), 60_000)
    fl, fr, rl, rr = draws.T
    assert sigmas.pitch == pytest.approx(((fl - rl) / length).std(), rel=0.02)
    assert sigmas.roll == pytest.approx(((fl - fr) / track).std(), rel=0.02)
    for xi, eta in ((7.1, 1.15), (-1.7, 1.2), (1.25, 0.0)):
        q = xi / length
        point = q * (fl + fr) / 2 + (1 - q) * (rl + rr) / 2 + eta * (fl - fr) / track
        assert sigmas.point(np.array([xi]), np.array([eta]))[0] == pytest.approx(point.std(), rel=0.02)


def test_sigmas_without_correlation() -> None:
    """Two points 2 m apart, 20 mm each: sqrt(2) sigma / L = 1.414 %; 6 m beyond a 2.9 m wheelbase 52 mm (derived)."""
    independent = accuracy(short_range_m=0.02, correlation_m=1e-6)
    assert Sigmas(independent, 2.0, 2.0, 0.0).pitch * 100 == pytest.approx(1.414, abs=1e-3)
    assert Sigmas(independent, 2.9, 2.4, 0.0).point(np.array([8.9]), np.array([0.0]))[0] == pytest.approx(
        0.052, abs=5e-4
    )


def test_k_grows_with_the_route() -> None:
    args = {"route_confidence": 0.95, "correlation_m": 2.0}
    assert confidence_k(1.0, **args) == pytest.approx(1.64485, abs=1e-5)
    assert confidence_k(300.0, **args) == NormalDist().inv_cdf(1 - 0.05 / 150)
    assert confidence_k(300.0, **args) > confidence_k(100.0, **args)


def test_samples_lie_on_the_arc_and_close_together() -> None:
    poses = drive(10.0, 10.0, 0.3, [(2.0, 0.4), (-1.0, -0.1), (0.0, 0.5)], step_m=0.1, turn_deg=2.0)
    machine = worlds.boom()
    corners = envelope(machine, machine.configurations["stowed"])
    track = subdivide(read_rows(poses), corners)
    x = (
        track.x[:, None]
        + np.cos(track.heading)[:, None] * corners[:, 0]
        - np.sin(track.heading)[:, None] * corners[:, 1]
    )
    y = (
        track.y[:, None]
        + np.sin(track.heading)[:, None] * corners[:, 0]
        + np.cos(track.heading)[:, None] * corners[:, 1]
    )
    assert np.hypot(np.diff(x, axis=0), np.diff(y, axis=0)).max() <= 0.05 + 1e-6
    first = track.chainage_m <= 2.0
    middle = (10.0 - 5.0 * math.sin(0.3), 10.0 + 5.0 * math.cos(0.3))
    assert np.abs(np.hypot(track.x[first] - middle[0], track.y[first] - middle[1]) - 5.0).max() < 1e-9
    assert track.chainage_m[-1] == pytest.approx(3.0)


def test_figures_are_read_by_name() -> None:
    machine = worlds.scissor()
    without = dataclasses.replace(
        machine, figures={k: v for k, v in machine.figures.items() if k != "front_overhang_m"}
    )
    assert math.isnan(turn_radius_m(without))
    tight = dict(machine.figures) | {"turn_radius_outside_m": Figure("turn_radius_outside_m", 1.0, "sheet", "invented")}
    assert math.isnan(turn_radius_m(dataclasses.replace(machine, figures=tight)))
