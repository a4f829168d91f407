"""Spot levels and the second opinion: accepted just inside the sigma that they leave, refused just beyond it."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import Point, box

from routeplan.machine.model import Machine
from routeplan.recheck.ground_load import allowed_kn, standing_loads
from routeplan.recheck.stance import Plane
from routeplan.recheck.uncertainty import confidence_k
from routeplan.site.bearing import Drained, HardGround, Platform
from routeplan.site.model import Defect, Site, Surface, Thresholds
from routeplan.site.reading import Reading
from tests import worlds
from tests.recheck.drives import drive, kinds, move_of, opinion, slowly, with_controls, yard_for
from tests.recheck.test_grip import PATIENT, case_of, measured

Floats = NDArray[np.float64]

SIGMA_M, OWN_M, ALIKE_M = 0.004, 0.001, 2.0
#: Where readings were taken about a short drive to the east from (19, 15), each wheel's course met once or twice.
TAKEN = np.array([(19.0, 15.35), (19.1, 14.65), (20.8, 15.3), (20.95, 14.7), (19.9, 15.0)])
LENGTH_M = 0.2
POSES = drive(19.0, 15.0, 0.0, [(LENGTH_M, 0.0)], step_m=0.05)
EXACT = Thresholds(lateral_tolerance_m=0.0, heading_tolerance_deg=0.0, bounce_limit_m=9.0)
K = confidence_k(LENGTH_M, route_confidence=0.95, correlation_m=ALIKE_M)
WEIGHT: dict[str, Any] = {
    "rated_load_kg": 230.0, "gravity_xi_m": 0.80, "gravity_eta_m": 0.0, "gravity_height_m": 0.60,
    "wheel_load_max_kn": 0.1,
}  # fmt: skip
Y, X = np.mgrid[0:121, 0:161] * 0.25


def read(site: Site, share: int = len(TAKEN)) -> Site:
    """The site surveyed to 4 mm, with readings that find what was surveyed."""
    accuracy = dataclasses.replace(worlds.GOOD_SURVEY, short_range_m=SIGMA_M, correlation_m=ALIKE_M)
    ground, day = dataclasses.replace(site.ground, accuracy=accuracy), dt.date(2026, 11, 9)
    rows = [(x, y, ground.z[round(4 * y), round(4 * x)]) for x, y in TAKEN[:share].tolist()]
    falls = (ground.z[0, 1] - ground.z[0, 0]) / 0.25, (ground.z[1, 0] - ground.z[0, 0]) / 0.25
    taken = tuple(
        Reading(f"r{n}", Point(x, y), z + falls[0] * (x - round(4 * x) / 4) + falls[1] * (y - round(4 * y) / 4),
                OWN_M, day, "a test")
        for n, (x, y, z) in enumerate(rows)
    )  # fmt: skip
    return dataclasses.replace(site, ground=ground, readings=taken)


def left(machine: Machine, ahead_m: float) -> Floats:
    """By hand: covariance of what four wheels' levels err by after the readings, ``(4, 4)``."""
    hubs = np.array([(19.0 + ahead_m + wheel.xi_m, 15.0 + wheel.eta_m) for wheel in machine.wheels])
    places = np.concatenate([hubs, TAKEN])
    apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    every = SIGMA_M**2 * np.exp(-apart / ALIKE_M)
    read_off = every[4:, 4:] + OWN_M**2 * np.eye(len(TAKEN))
    return np.asarray(every[:4, :4] - every[:4, 4:] @ np.linalg.inv(read_off) @ every[4:, :4])


def worst(machine: Machine, sigma: Callable[[Callable[[Floats], float]], float]) -> float:
    """The largest anywhere on the drive of what the standard deviation of forms of wheel levels makes."""
    found = []
    for ahead_m in np.arange(0.0, LENGTH_M + 1e-9, 0.01):
        covariance = left(machine, ahead_m)

        def of(form: Floats, covariance: Floats = covariance) -> float:
            return math.sqrt(form @ covariance @ form)

        found.append(sigma(of))
    return max(found)


def slopes(machine: Machine, of: Callable[[Floats], float]) -> tuple[float, float]:
    pitch = max(of(np.array(form)) for form in ((1, 0, -1, 0), (0, 1, 0, -1))) / machine.wheelbase_m
    roll = max(of(np.array(form)) for form in ((1, -1, 0, 0), (0, 0, 1, -1))) / machine.track_m
    return pitch, roll


def refused(site: Site) -> set[str]:
    machine = site.machines["SC"]
    move = move_of([pose._replace(v_max_mps=0.2) for pose in POSES], machine)
    return kinds(opinion(with_controls(move, (slowly(0.0, 0.2),)), site))


def holds(site_of: Callable[[float], Site], sigma: float, kind: str, beyond: float = 0.998) -> None:
    """A margin just above k sigma is accepted, just below it refused; and the first too where nobody read anything."""
    for share, expected in ((1.002, set[str]()), (beyond, {kind})):
        assert refused(site_of(share * K * sigma)) == expected
    bare = dataclasses.replace(site_of(1.002 * K * sigma), readings=())
    assert refused(bare) == {kind}


@pytest.mark.parametrize("rear_only", [False, True])
def test_grip_after_readings(rear_only: bool) -> None:
    held: dict[str, Any] = {"brakes_front": 0.0, "brakes_rear": 1.0} if rear_only else {}
    machine, mu = worlds.scissor(**WEIGHT | held | {"rated_load_kg": 1e-9}), 0.4
    share, lift = (1.0 - 0.80 / 1.85, mu * 0.60 / 1.85) if rear_only else (1.0, 0.0)

    def by_slopes(of: Callable[[Floats], float]) -> float:
        pitch, roll = slopes(machine, of)
        return math.hypot(pitch, roll) + lift * pitch

    def sloping(margin: float) -> Site:  # nose down, so that what slopes takes off the rear axle
        pitch = -(mu * share - margin) / (1.0 + lift)
        patient = dataclasses.replace(PATIENT, lateral_tolerance_m=0.0)
        site = yard_for(POSES, steep(machine), z=pitch * X, thresholds=patient)
        return read(dataclasses.replace(site, surfaces=(dataclasses.replace(site.surfaces[0], friction=measured(mu)),)))

    holds(sloping, worst(machine, by_slopes), "grip")


def steep(machine: Machine) -> Machine:
    """The same of which a ramp may ask anything."""
    rated = ("gradeability_basket_uphill_pct", "gradeability_basket_downhill_pct", "side_slope_pct")
    figures = {name: dataclasses.replace(machine.figures[name], value=100.0) for name in rated}
    return dataclasses.replace(machine, figures={**machine.figures, **figures})


def decked(machine: Machine, bearing: HardGround | Platform, slope: float = 0.0) -> Site:
    site = yard_for(POSES, machine, z=slope * X, thresholds=EXACT)
    (yard,) = site.surfaces
    deck = Surface("deck", box(15.0, 10.0, 25.0, 20.0), "deck", yard.acceptance, bearing, worlds.ROUGH)
    return read(dataclasses.replace(site, surfaces=(yard, deck)))


def test_ground_load_after_readings() -> None:
    machine = worlds.scissor(**WEIGHT)
    flat = Plane(*(np.zeros((1, 1, 1)) for _ in range(3)))
    load_kn = float(standing_loads(machine, machine.configurations["stowed"], flat).max())
    moment = 9.80665e-3 * (2300.0 * 0.60 + 230.0 * 2.20)

    def by_slopes(of: Callable[[Floats], float]) -> float:
        pitch, roll = slopes(machine, of)
        return moment * max(pitch / machine.wheelbase_m, roll / machine.track_m)

    holds(
        lambda margin: decked(machine, HardGround("engineer", load_kn + margin)), worst(machine, by_slopes),
        "ground load",
    )  # fmt: skip


def test_what_drained_ground_loses_with_the_slope_counts() -> None:
    """A sheet's load of a machine that weighs nothing, on a slope: only what the ground bears is not sure."""
    slope, soil = 0.15, Platform("engineer", 0.2, 30.0, Drained(30.0, 10.0, 2.0), 1.0)
    light: dict[str, Any] = {"mass_kg": 1e-6, "rated_load_kg": 1e-6}
    deck = Surface("deck", box(15.0, 10.0, 25.0, 20.0), "deck", None, soil)
    machine = worlds.scissor(**WEIGHT | light)
    at = np.array([slope - 1e-6, slope, slope + 1e-6])
    bears, falls = allowed_kn(deck, case_of(machine), at)
    lost = (bears[0] - bears[2]) / 2e-6
    assert falls[1] == pytest.approx(lost, rel=1e-6) and lost > bears[1]

    def sited(margin: float) -> Site:
        sheet = worlds.scissor(**WEIGHT | light | {"wheel_load_max_kn": float(bears[1]) - margin})
        return decked(sheet, soil, slope)

    holds(sited, worst(machine, lambda of: float(lost) * math.hypot(*slopes(machine, of))), "ground load")


def test_ground_strike_after_readings() -> None:
    """Along the middle of the chassis: the front edge or the rear one; the ground there is as sure as surveyed.

    What is highest are nodes, so that the edge itself is looked at no nearer than where it comes over one.
    """
    machine = worlds.scissor(ground_clearance_m=0.15)

    def under(of: Callable[[Floats], float]) -> float:
        shares = [xi / machine.wheelbase_m for xi in (-0.27, machine.wheelbase_m + 0.28)]
        return max(math.hypot(of(np.array([q, q, 1 - q, 1 - q]) / 2.0), SIGMA_M) for q in shares)

    def ridged(margin: float) -> Site:
        z = np.zeros((121, 161))
        z[60] = 0.15 - EXACT.ground_clearance_m - margin
        return read(yard_for(POSES, machine, z=z, thresholds=EXACT))

    holds(ridged, worst(machine, under), "ground strike", beyond=0.99)


def test_a_lump_under_a_box_after_readings() -> None:
    """A sill along the drive, between the wheels: a feature of the layer."""
    machine = worlds.scissor(ground_clearance_m=0.15)

    def under(of: Callable[[Floats], float]) -> float:
        shares = [xi / machine.wheelbase_m for xi in (-0.27, machine.wheelbase_m + 0.28)]
        leans = [(a * eta, b * eta) for eta in (-0.05 / 0.7, 0.05 / 0.7) for a, b in ((1, 0), (0, 1))]
        forms = [(q / 2 + a, q / 2 - a, (1 - q) / 2 + b, (1 - q) / 2 - b) for q in shares for a, b in leans]
        return max(math.hypot(of(np.array(form)), SIGMA_M) for form in forms)

    def silled(margin: float) -> Site:
        height = 0.15 - EXACT.ground_clearance_m - margin
        sill = Defect("s", "sill", box(10, 14.95, 30, 15.05), 0.1, 0.0, height, None)
        return read(yard_for(POSES, machine, defects=(sill,), thresholds=EXACT))

    holds(silled, worst(machine, under), "ground strike")


def test_a_kerb_on_a_side_slope_after_readings() -> None:
    machine = worlds.scissor()
    limit = EXACT.kerb_side_slope_deg

    def across(margin: float) -> Site:
        kerb = Defect("k", "kerb", box(19.1, 10.0, 19.2, 20.0), 0.1, 0.0, 0.01, None)
        falls = math.tan(math.radians(limit - margin))
        return read(yard_for(POSES, machine, z=falls * Y, defects=(kerb,), thresholds=EXACT))

    holds(across, math.degrees(worst(machine, lambda of: slopes(machine, of)[1])), "kerb side slope")
