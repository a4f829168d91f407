"""Where a wheel stands: against outlines as they are, however coarse the levels."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from shapely.geometry import Point, Polygon, box

from routeplan.hazards.arrays import COVERS
from routeplan.hazards.clearance import COMFORT_M, TOUCH_M
from routeplan.hazards.prepare import encounter
from routeplan.hazards.terrain import build_terrain
from routeplan.machine.model import Wheel
from routeplan.search.anchors import STILL, check_motions
from routeplan.site.model import Defect, GridSpec, Thresholds
from tests import worlds

Floats = NDArray[np.float64]

STANDS = 3000
#: Small, large, not convex, and two that overlap; corners a little beyond a node.
COVER = Point(20.1, 15.2).buffer(0.4)
PAIR = (box(18.99, 13.99, 20.51, 16.01), box(19.74, 13.49, 21.01, 16.51))
PLATE = box(18.99, 13.99, 21.01, 16.01)
ELBOW = box(18.99, 13.99, 21.01, 14.51).union(box(18.99, 13.99, 19.51, 16.01))


@pytest.mark.parametrize("outlines", [(COVER,), (PLATE,), (ELBOW,), PAIR])
def test_a_wheel_is_inside_or_as_far_from_the_outline_as_it_is(outlines: tuple[Polygon, ...]) -> None:
    """Levels 0.5 m apart: a wheel may be 0.35 m from the node that stands for it, and clear of what that lies in."""
    machine = worlds.boom()
    covers = tuple(Defect(f"c{n}", "cover", one, 0.8, 0.0, 0.0, None) for n, one in enumerate(outlines))
    little = Thresholds(lateral_tolerance_m=0.02, heading_tolerance_deg=0.2)
    site = worlds.flat_site(
        machines=(machine,), cell_m=0.5, grid=GridSpec(cell_m=0.5), defects=covers, thresholds=little
    )
    hazards = encounter(
        site, machine, configuration="stowed", travel_mode="ridden", k=3.0,
        terrain=build_terrain(site.ground, site.grid),
    ).on(None, travel_m=8.0)  # fmt: skip
    rng = np.random.default_rng(5)
    starts = np.column_stack([
        rng.uniform(18.0, 22.0, STANDS), rng.uniform(13.0, 17.0, STANDS), rng.uniform(-math.pi, math.pi, STANDS)
    ])  # fmt: skip
    starts[:, :2] -= rotated(starts[:, 2], machine.wheels[0].xi_m, machine.wheels[0].eta_m)
    margins, _ = check_motions(hazards, starts, np.repeat(STILL, STANDS, axis=0))
    contacts = [contact(starts, wheel, little) for wheel in machine.wheels]
    spares = np.min([shapely.distance(shapely.union_all(outlines), one) for one in contacts], axis=0) - TOUCH_M
    for spare, margin in zip(spares, margins[:, COVERS], strict=True):
        if spare >= COMFORT_M:
            assert margin >= COMFORT_M
        elif spare >= 0.0:
            assert margin == pytest.approx(spare, abs=1e-4)
        else:
            assert margin < 0.0


def contact(starts: Floats, wheel: Wheel, limits: Thresholds) -> NDArray[np.object_]:
    """The line across a tyre in its tube at n poses, as the rectangle that it is turned about in."""
    turned = math.sin(math.radians(limits.heading_tolerance_deg))
    beyond = abs(wheel.eta_m) + wheel.width_m / 2
    far = beyond * turned + abs(wheel.xi_m) * turned**2
    wide = wheel.width_m / 2 + limits.lateral_tolerance_m + abs(wheel.xi_m) * turned + beyond * turned**2
    corners = [(wheel.xi_m + i * far, wheel.eta_m + j * wide) for i, j in ((1, 1), (1, -1), (-1, -1), (-1, 1))]
    rings = np.stack([starts[:, :2] + rotated(starts[:, 2], xi, eta) for xi, eta in corners], axis=1)
    polygons: NDArray[np.object_] = shapely.polygons(rings)
    return polygons


def rotated(heading: Floats, xi: float, eta: float) -> Floats:
    """Where a body point lies from the origin, (n, 2)."""
    c, s = np.cos(heading), np.sin(heading)
    return np.stack([xi * c - eta * s, xi * s + eta * c], axis=-1)

