"""The search and kerbs: it blocks what lies beyond the angle and the side slope, and never sees more than is there."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import LineString, Polygon, box

from routeplan.hazards import arrays
from routeplan.hazards.prepare import encounter
from routeplan.hazards.terrain import build_terrain
from routeplan.machine.model import Machine
from routeplan.search.anchors import check_motions
from routeplan.site.model import Defect, Site, Thresholds
from tests.hazards.test_never_kinder import drawn_motions, hold_against_the_second_opinion
from tests.worlds import GOOD_SURVEY, boom, flat_site, place, scissor, wanted

Floats = NDArray[np.float64]

MIDDLE = (20.0, 15.0)
ABOUT = [arrays.KERB_ANGLE, arrays.KERB_SIDE]
WIDE = Thresholds(bounce_limit_m=9.0)


def strip(aslant_deg: float = 0.0, *, from_m: float = -10.0) -> Polygon:
    """A kerb across the way east through the middle, turned about there."""
    return affinity.rotate(box(20.0, 15.0 + from_m, 20.15, 25.0), aslant_deg, origin=MIDDLE)


def yard(outline: Polygon, *, machine: Machine, height_m: float = 0.02, **layers: Any) -> Site:
    """A yard with one kerb, of levels as good as exact."""
    exact = dataclasses.replace(GOOD_SURVEY, short_range_m=1e-9, datum_m=1e-9)
    layers.setdefault("thresholds", WIDE)
    return flat_site(
        machines=(machine,), places=(place("a", 5.0, 15.0), place("b", 35.0, 15.0)),
        moves=(wanted(machine.id, "a", "b"),), accuracy=exact,
        defects=(Defect("k", "kerb", outline, 0.15, 0.0, height_m, None),), **layers,
    )  # fmt: skip


def seen(site: Site, machine: Machine, start: tuple[float, float, float], piece: tuple[float, ...]) -> Floats:
    """What the search sees of a motion in brief; the margins of both checks."""
    terrain = build_terrain(site.ground, site.grid)
    hazards = encounter(
        site, machine, configuration="stowed", travel_mode="ridden", k=3.0, terrain=terrain
    ).on(None, travel_m=8.0)  # fmt: skip
    margins, _ = check_motions(hazards, np.array([start]), np.array([[piece]]), brief=True)
    return np.asarray(margins[0, ABOUT])


@pytest.mark.parametrize("machine", [scissor(), boom()])
def test_a_kerb_met_a_hundredth_of_a_degree_inside_and_beyond_the_angle(machine: Machine) -> None:
    for spare_deg in (0.01, -0.01):
        aslant = WIDE.kerb_angle_deg - WIDE.heading_tolerance_deg - spare_deg
        for turned in (aslant, -aslant):
            for gear in (1.0, -1.0):
                site = yard(strip(turned), machine=machine)
                angle, side = seen(site, machine, (20.0 - 2.0 * gear, 15.0, 0.0), (4.0 * gear, 0.0, 0.0, 0.0))
                assert angle == pytest.approx(spare_deg, abs=1e-6) and side == pytest.approx(3.0)


@pytest.mark.parametrize("machine", [scissor(), boom()])
def test_a_tyre_that_may_meet_the_end_of_a_kerb_is_blocked(machine: Machine) -> None:
    """As far as the second opinion's tyres come within the tube, and no farther than what the step between adds."""
    t = math.radians(WIDE.heading_tolerance_deg)
    wheel = machine.wheels[0]
    reach = WIDE.lateral_tolerance_m + (wheel.xi_m + wheel.radius_m) * math.sin(t)
    reach += (wheel.eta_m + wheel.width_m / 2) * math.cos(t)
    for spare_m, blocked in ((-0.001, True), (0.01, False)):
        site = yard(strip(from_m=reach + spare_m), machine=machine)
        angle, _ = seen(site, machine, (16.0, 15.0, 0.0), (6.0, 0.0, 0.0, 0.0))
        assert bool(angle < 0.0) is blocked


@pytest.mark.parametrize("machine", [scissor(), boom()])
def test_a_kerb_on_a_crossfall_just_inside_and_just_beyond(machine: Machine) -> None:
    """A hundredth of a degree beyond is blocked; what the tube and the bounds take is less than a quarter of one."""
    y, x = np.mgrid[0:121, 0:161] * 0.25
    for over_deg, blocked in ((0.01, True), (-0.25, False)):
        z = math.tan(math.radians(WIDE.kerb_side_slope_deg + over_deg)) * y
        site = yard(strip(), machine=machine, z=z)
        _, side = seen(site, machine, (18.0, 15.0, 0.0), (4.0, 0.0, 0.0, 0.0))
        assert bool(side < 0.0) is blocked


def test_a_low_kerb_on_the_best_of_ground_is_looked_at() -> None:
    """Millimetres high on level ground, where no pose needs a closer look but for the kerb."""
    machine = scissor()
    site = yard(strip(40.0), machine=machine, height_m=0.002)
    angle, _ = seen(site, machine, (16.0, 15.0, 0.0), (8.0, 0.0, 0.0, 0.0))
    assert angle < -25.0


def test_no_motion_near_a_low_kerb_is_free_without_a_look() -> None:
    """No block of the ground is calm from which a motion may come to it; the best of ground elsewhere is."""
    machine = scissor()
    site = yard(strip(), machine=machine, height_m=0.0005)
    terrain = build_terrain(site.ground, site.grid)
    hazards = encounter(
        site, machine, configuration="stowed", travel_mode="ridden", k=3.0, terrain=terrain
    ).on(None, travel_m=2.0)  # fmt: skip
    calm = (hazards.world.blocks["calm"][13:17] & arrays.CALM_MOTION) > 0
    assert not calm[:, 13:27].any() and calm[:, 8:12].all() and calm[:, 28:32].all()


def test_the_way_of_each_hub_counts() -> None:
    """Square-on by its arrow, in a turn, on the spot and in crab steer its wheels go aslant."""
    machine = scissor(pivots=1.0)
    site = yard(strip(), machine=machine)
    straight, _ = seen(site, machine, (18.05, 15.0, 0.0), (0.2, 0.0, 0.0, 0.0))
    turning, _ = seen(site, machine, (18.05, 15.0, 0.0), (0.02, 0.33, 0.0, 0.0))
    on_the_spot, _ = seen(site, machine, (18.15, 15.0, 0.0), (0.01, 0.0, 1.0, 0.0))
    crab, _ = seen(site, machine, (18.05, 15.0, 0.0), (0.2, 0.0, 0.0, math.sin(math.radians(13.1))))
    assert straight == pytest.approx(13.0) and crab == pytest.approx(-0.1, abs=0.01)
    inner = math.degrees(math.atan2(1.85 * 0.33, 1.0 - 0.35 * 0.33))
    assert turning < 13.0 - inner and on_the_spot < 13.0 - 70.0


@pytest.mark.parametrize("seed", range(12))
def test_no_margin_is_more_than_the_second_opinions(seed: int) -> None:
    """Long kerbs all over a rough yard, some of them rings, so that how they are met governs."""
    rng = np.random.default_rng(30_000 + seed)
    machine = scissor(pivots=1.0) if seed % 2 else boom()
    y, x = np.mgrid[0:121, 0:161] * 0.25
    z = rng.uniform(-0.03, 0.03) * x + rng.uniform(-0.03, 0.03) * y + rng.normal(0.0, 0.001, x.shape)
    lines = [
        LineString(rng.uniform(3.0, 27.0, (3, 2)) * (1.3, 1.0)).buffer(0.08, cap_style="flat", join_style="mitre")
        for _ in range(3)
    ]
    x0, y0 = rng.uniform(8.0, 20.0, 2)
    ring = box(x0, y0, x0 + 6.0, y0 + 4.0).difference(box(x0 + 1.0, y0 + 1.0, x0 + 5.0, y0 + 3.0))
    outlines = [part for line in lines for part in ([line] if isinstance(line, Polygon) else [])] + [ring]
    defects = tuple(
        Defect(f"k{n}", "kerb", outline, 0.16, 0.0, float(rng.uniform(0.001, 0.02)), None)
        for n, outline in enumerate(outlines)
    )  # fmt: skip
    limits = Thresholds(bounce_limit_m=9.0, kerb_angle_deg=float(rng.uniform(20.0, 60.0)))
    site = dataclasses.replace(yard(strip(), machine=machine, z=z, thresholds=limits), defects=defects)
    hold_against_the_second_opinion(site, machine, *drawn_motions(site, machine, rng), governing=ABOUT)
