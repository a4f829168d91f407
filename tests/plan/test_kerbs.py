"""Ways over kerbs: square-on at any bearing, round them where they cannot be met so, none on a side slope."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from shapely import affinity
from shapely.geometry import Polygon, box

from routeplan.plan.whole import plan_site
from routeplan.route.model import Move
from routeplan.site.model import Defect, Thresholds
from tests.worlds import flat_site, place, scissor, wanted

ISSUED = "2026-11-24T12:00:00+00:00"
MIDDLE = (14.5, 10.0)


def kerb(turned_deg: float, *, south_m: float = 20.0, north_m: float = 20.0) -> Polygon:
    """Across the way through its middle, so far to either side, turned anticlockwise."""
    return affinity.rotate(box(14.4, 10.0 - south_m, 14.6, 10.0 + north_m), turned_deg, origin=MIDDLE)


def planned(outline: Polygon, **layers: Any) -> Move:
    """The one move of a scissor from west to east over a yard of 30 x 20 m."""
    site = flat_site(
        30.0, 20.0, machines=(scissor(),), places=(place("w", 5.0, 10.0), place("e", 23.0, 10.0)),
        moves=(wanted("SC", "w", "e"),), defects=(Defect("k", "kerb", outline, 0.2, 0.0, 0.02, None),), **layers,
    )  # fmt: skip
    return plan_site(site, issued=ISSUED).moves[0]


def bearings_over(move: Move, outline: Polygon) -> set[float]:
    """How far rows whose wheels may be on the kerb are turned against east, deg, as lines."""
    near = [pose for pose in move.poses if outline.distance(box(pose.x, pose.y, pose.x, pose.y)) < 0.3]
    return {round((90.0 - pose.bearing_deg + 90.0) % 180.0 - 90.0, 2) for pose in near}


@pytest.mark.parametrize("turned_deg", [0.0, 33.75, -11.25, 60.0])
def test_a_kerb_is_met_square_on_whatever_its_bearing(turned_deg: float) -> None:
    """By a heading of sixteen that is within 11.25 deg; the most that the limit leaves, 2 deg for the driver, is 13."""
    outline = kerb(turned_deg)
    move = planned(outline)
    (check,) = (check for check in move.checks if check.kind == "kerb angle")
    assert (move.verdict, move.refused, check.verdict) == ("pass", None, "pass")
    over = bearings_over(move, outline)
    assert over and all(abs(bearing - turned_deg) <= 13.0 for bearing in over)
    assert check.value == pytest.approx(max(2.0 + abs(bearing - turned_deg) for bearing in over), abs=5.5)


def test_a_kerb_that_no_heading_meets_is_named_or_gone_round() -> None:
    """Fewer degrees are wanted than a driver holds."""
    barred = planned(kerb(33.75), thresholds=Thresholds(kerb_angle_deg=1.9))
    assert barred.verdict == "no route"
    assert {miss.kind for miss in barred.nearest_misses} == {"kerb angle"}
    round_it = planned(kerb(33.75, south_m=4.0, north_m=20.0), thresholds=Thresholds(kerb_angle_deg=1.9))
    assert (round_it.verdict, round_it.refused) == ("pass", None)
    assert min(pose.y for pose in round_it.poses) < 7.5


def test_no_kerb_is_met_on_a_side_slope() -> None:
    """A crossfall of 4 degrees, well within the rating of the side slope."""
    y, _ = np.mgrid[0:81, 0:121] * 0.25
    fall = math.tan(math.radians(4.0)) * y
    barred = planned(kerb(0.0), z=fall)
    assert barred.verdict == "no route"
    assert {miss.kind for miss in barred.nearest_misses} == {"kerb side slope"}
    assert planned(kerb(0.0), z=fall, thresholds=Thresholds(kerb_side_slope_deg=5.0)).verdict == "pass"
