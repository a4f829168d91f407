"""A ramp that the machine may climb one way round only, in a lane without room to turn."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import box

from routeplan.plan.whole import plan_site
from routeplan.route import Move
from routeplan.site.model import Obstacle, Site
from tests import worlds

LONG_M, WIDE_M = 70.0, 5.0


def ramp(grade: float, *, bearing_deg: float | None, uphill_pct: float, downhill_pct: float) -> Site:
    """A walled lane east up a gentle ramp 34 m long, for a boom that is delivered facing a bearing."""
    machine = worlds.boom(
        gradeability_basket_uphill_pct=uphill_pct, gradeability_basket_downhill_pct=downhill_pct
    )  # fmt: skip
    _y, x = np.mgrid[0.0 : WIDE_M + 0.1 : 0.25, 0.0 : LONG_M + 0.1 : 0.25]
    easing = np.clip((x - 18.0) / 12.0, 0.0, 1.0) * np.clip((52.0 - x) / 12.0, 0.0, 1.0)
    z = np.cumsum(grade * easing * 0.25, axis=1)
    return worlds.flat_site(
        LONG_M, WIDE_M, z=z, machines=(machine,), moves=(worlds.wanted(machine.id, "foot", "head"),),
        places=(worlds.place("foot", 8.0, WIDE_M / 2, bearing_deg=bearing_deg), worlds.place("head", 60.0, WIDE_M / 2)),
        obstacles=tuple(
            Obstacle(name, box(0.0, y, LONG_M, y + 0.2), "wall", None) for name, y in (("south", 0.0), ("north", 4.8))
        ),
    )  # fmt: skip


def planned(site: Site) -> Move:
    (move,) = plan_site(site, issued="2026-11-24T12:00:00+00:00").moves
    return move


@pytest.mark.parametrize(("bearing_deg", "goes"), [(90.0, False), (270.0, True), (None, True)])
def test_a_ramp_is_climbed_only_with_the_basket_downhill(bearing_deg: float | None, goes: bool) -> None:
    move = planned(ramp(0.16, bearing_deg=bearing_deg, uphill_pct=14.0, downhill_pct=30.0))
    assert bool(move.poses) is goes, move.reason
    if not goes:
        assert "with the machine turned end for end at foot there is a way" in move.reason
        return
    (slope,) = (zone for zone in move.zones if zone.kind == "slope")
    assert "basket end downhill, trailing" in slope.text
    assert "only this way round" in slope.text


def test_nothing_is_said_of_turning_where_it_does_not_help() -> None:
    assert "end for end" not in planned(ramp(0.16, bearing_deg=90.0, uphill_pct=14.0, downhill_pct=14.0)).reason
    for zone in planned(ramp(0.10, bearing_deg=90.0, uphill_pct=14.0, downhill_pct=14.0)).zones:
        assert "only this way round" not in zone.text
