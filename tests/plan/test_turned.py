"""A ramp that the machine may climb one way round only, in a lane without room to turn."""

from __future__ import annotations

import re

import numpy as np
import pytest
from shapely.geometry import box

from routeplan.plan.whole import plan_site
from routeplan.route.model import Move
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


def ramp_with_a_bay(*, uphill_pct: float, name: str = "turning") -> Site:
    """The same ramp with an open bay north of the lane before its foot, for a boom delivered with its basket uphill."""
    site = ramp(0.16, bearing_deg=90.0, uphill_pct=uphill_pct, downhill_pct=30.0)
    z = np.pad(site.ground.z, ((0, round(15.0 / 0.25)), (0, 0)), mode="edge")
    south = site.obstacles[0]
    beyond = Obstacle("north", box(17.0, 4.8, LONG_M, 20.0), "wall", None)
    places = (*site.places.values(), worlds.place("bay", 10.0, 11.0, kind=name))
    return worlds.flat_site(
        LONG_M, 20.0, z=z, machines=tuple(site.machines.values()), moves=site.moves, places=places,
        obstacles=(south, beyond),
    )  # fmt: skip


def test_it_turns_end_for_end_where_there_is_room_and_says_why() -> None:
    """The lattice finds the way by itself; the plan names the turning place, what would fail, where, and by how much.

    16 % is 9.09 degrees, 14 % is 7.97: going on as it was delivered it lacks 1.12 degrees and what bounds add.
    """
    move = planned(ramp_with_a_bay(uphill_pct=14.0))
    (turn,) = (control for control in move.controls if control.kind == "turning")
    assert move.poses and move.verdict == "pass with controls", move.reason
    assert "at turning place bay: follow it, and go on with the basket end trailing" in turn.text
    said = re.search(r"The other way round gradeability would lack up to ([\d.]+) deg at ([\d.]+) m", turn.text)
    assert said and turn.chainage_m < float(said[2]) and 1.12 < float(said[1]) < 1.5
    assert any(hold.text == turn.text for hold in move.holds)
    assert [leg.goal for leg in move.legs].count("bay") == 1
    (slope,) = (stand for stand in move.stands if stand.orientation != "level")
    assert (slope.end, slope.orientation, slope.facing) == ("basket end", "downhill", "trailing")
    (came,) = (stand for stand in move.stands if stand.chainage_to_m == turn.chainage_m)
    assert came.facing == "leading" and move.stands[-1].chainage_to_m == move.poses[-1].chainage_m


def test_a_turn_where_the_site_names_no_turning_place_says_so() -> None:
    (turn,) = (c for c in planned(ramp_with_a_bay(uphill_pct=14.0, name="parking")).controls if c.kind == "turning")
    assert "here, where the site names no turning place" in turn.text


def test_it_does_not_turn_where_it_need_not() -> None:
    move = planned(ramp_with_a_bay(uphill_pct=40.0))
    assert move.poses and not [control for control in move.controls if control.kind == "turning"]
    assert {stand.facing for stand in move.stands} == {"leading"}
    assert {stand.orientation for stand in move.stands} == {"level", "uphill"}


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
