"""Orientation decides what the planner drives and facing does not; both stand in the plan as words of their own."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely.geometry import box

from routeplan.plan.facing import turns_of
from routeplan.plan.whole import plan_site
from routeplan.recheck.opinion import recheck_plan
from routeplan.route.model import Move
from routeplan.site.model import Site, Soffit, Thresholds
from tests import worlds
from tests.recheck.drives import certain, drive

BARE = Thresholds(lateral_tolerance_m=0.0, heading_tolerance_deg=0.0)
#: 30 % with the platform downhill, 20 % with it uphill, 25 % to the side; the basket lies beyond the arrow.
RATED = worlds.boom(
    gradeability_basket_downhill_pct=30.0, gradeability_basket_uphill_pct=20.0, side_slope_pct=25.0, oscillating=None
)
#: What the search's bounds may ask for more than the closed form, percent.
BOUNDS_PCT = 0.6


def planned(site: Site) -> Move:
    plan = plan_site(certain(site), issued="2026-11-24T12:00:00+00:00")
    assert not recheck_plan(plan, site=certain(site))["M1"]
    return plan.moves[0]


def driven(pct: float, *, arrow: float, to_east: bool, across: bool = False) -> Move:
    """Six metres east or west on a slope up to the east, or to the north, its arrow by a bearing at both ends."""
    y, x = np.mgrid[0:81, 0:121] * 0.25
    ends = [worlds.place("w", 12.0, 10.0, arrow), worlds.place("e", 18.0, 10.0, arrow)]
    start, goal = ("w", "e") if to_east else ("e", "w")
    return planned(worlds.flat_site(
        30.0, 20.0, z=pct / 100.0 * (y if across else x), machines=(RATED,), places=tuple(ends), thresholds=BARE,
        moves=(worlds.wanted(RATED.id, start, goal),),
    ))  # fmt: skip


@pytest.mark.parametrize("to_east", [True, False])
@pytest.mark.parametrize(("arrow", "rated", "orientation"), [(90.0, 20.0, "uphill"), (270.0, 30.0, "downhill")])
def test_the_30_20_25_machine_flips_with_orientation_and_not_with_gear(
    to_east: bool, arrow: float, rated: float, orientation: str
) -> None:
    move = driven(rated - BOUNDS_PCT, arrow=arrow, to_east=to_east)
    assert move.poses and {stand.orientation for stand in move.stands} == {orientation}
    assert {stand.facing for stand in move.stands} == {"leading" if to_east == (arrow == 90.0) else "trailing"}
    assert not driven(rated + 0.1, arrow=arrow, to_east=to_east).poses


@pytest.mark.parametrize("arrow", [90.0, 270.0])
def test_the_side_slope_is_the_same_either_way_round(arrow: float) -> None:
    assert driven(25.0 - BOUNDS_PCT, arrow=arrow, to_east=True, across=True).poses
    assert not driven(25.1, arrow=arrow, to_east=True, across=True).poses


def test_a_soffit_passes_with_the_basket_trailing_and_fails_with_it_leading() -> None:
    """Leading, its basket ends under a beam that its chassis never reaches; head 2.5 m up, the beam 2.6 m."""
    beam = Soffit("beam", box(22.0, 5.0, 26.0, 15.0), "beam", 2.6, None, 0.0, 0.0, 1e-9, "S1")
    for arrow, facing in ((270.0, "trailing"), (90.0, "leading")):
        ends = worlds.place("w", 10.0, 10.0, arrow), worlds.place("e", 17.0, 10.0, arrow)
        move = planned(worlds.flat_site(
            30.0, 20.0, machines=(RATED,), places=ends, moves=(worlds.wanted(RATED.id, "w", "e"),), soffits=(beam,),
            thresholds=BARE,
        ))  # fmt: skip
        assert bool(move.poses) == (facing == "trailing"), move.reason
        assert {stand.facing for stand in move.stands} <= {facing}
        assert facing == "trailing" or "the machine turned end for end at e" in move.reason or "head" in move.reason


def test_back_out_of_a_dead_end_is_no_turn_and_a_three_point_turn_is_one() -> None:
    """Both go on in the other gear; only one of them goes on the way that it came, turned."""
    configuration, site = RATED.configurations["stowed"], worlds.flat_site(40.0, 30.0)
    out_and_back = drive(8.0, 15.0, 0.0, [(10.0, 0.0), (-10.0, 0.0)])
    assert turns_of(out_and_back, configuration, site) == ()
    quarter = 5.0 * math.pi / 2
    turned = drive(8.0, 15.0, 0.0, [(8.0, 0.0), (quarter, math.pi / 2), (-quarter, math.pi / 2), (-8.0, 0.0)])
    (turn,) = turns_of(turned, configuration, site)
    assert turn.chainage_m == pytest.approx(8.0 + quarter) and turn.name == "" and turn.until_m == math.inf
    forwards_again = drive(8.0, 15.0, 0.0, [(8.0, 0.0), (2 * quarter, math.pi), (8.0, 0.0)])
    assert turns_of(forwards_again, configuration, site) == ()
