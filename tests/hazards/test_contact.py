"""Where tyres touch the ground in the tube: as wide as a tyre is and strays, and hardly longer than its contact."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely.geometry import box

from routeplan.hazards import arrays
from routeplan.hazards.clearance import TOUCH_M
from routeplan.hazards.prepare import Hazards, encounter
from routeplan.hazards.terrain import build_terrain
from routeplan.search.anchors import check_motions
from routeplan.site.model import Defect
from tests import worlds

#: From where to where the machine drives, due east.
FROM, TO = 8.0, 10.0


def margin(west: float, south: float, east: float, north: float) -> tuple[float, Hazards]:
    """What is left to a cover on level ground when the machine drives by, m."""
    cover = Defect("c", "cover", box(west, south, east, north), 0.6, 0.0, 0.0, None)
    site = worlds.flat_site(
        20.0, 20.0, machines=(worlds.scissor(),), places=(worlds.place("w", FROM, 10.0), worlds.place("e", TO, 10.0)),
        moves=(worlds.wanted("SC", "w", "e"),), defects=(cover,),
    )  # fmt: skip
    (machine,) = site.machines.values()
    met = encounter(
        site, machine, configuration="stowed", travel_mode="ridden", k=2.0,
        terrain=build_terrain(site.ground, site.grid),
    )  # fmt: skip
    hazards = met.on(None, travel_m=8.0)
    margins, _ = check_motions(hazards, np.array([[FROM, 10.0, 0.0]]), np.array([[[TO - FROM, 0.0, 0.0, 0.0]]]))
    return float(margins[0, arrays.COVERS]), hazards


@pytest.mark.parametrize("rear", [True, False], ids=["rear", "front"])
def test_a_cover_beside_a_wheel(rear: bool) -> None:
    """At the rear, where the origin is, the heading's error moves nothing; at the front it does by the wheelbase."""
    _, hazards = margin(1.0, 1.0, 1.5, 1.5)
    wheel = 2 if rear else 0
    xi, eta = float(hazards.body.wheel_xi[wheel]), float(hazards.body.wheel_eta[wheel])
    half, lateral, turned = (float(getattr(hazards.body, name)) for name in ("tyre_half", "lateral", "sin_heading"))
    near = 10.0 + eta + half + lateral + xi * turned
    # Abeam of the front wheel at the end of the drive, or of the rear one before the front one is abeam of nothing.
    x = FROM + 0.1 if rear else TO + xi - 0.1
    left, _ = margin(x - 0.05, near + 0.03, x + 0.05, near + 0.5)
    assert left == pytest.approx(0.03 - TOUCH_M, abs=1.5e-3)


def test_a_cover_ahead_of_where_a_wheel_stops() -> None:
    _, hazards = margin(1.0, 1.0, 1.5, 1.5)
    body = hazards.body
    xi, eta = float(body.wheel_xi[0]), float(body.wheel_eta[0])
    ahead = (eta + float(body.tyre_half)) * float(body.sin_heading)
    left, _ = margin(TO + xi + ahead + 0.05, 10.0 + eta - 0.05, TO + xi + 1.0, 10.0 + eta + 0.05)
    assert left == pytest.approx(0.05 - TOUCH_M, abs=xi * (1.0 - math.cos(math.asin(float(body.sin_heading)))) * 2.5)
