"""A trench from side to side with a plate over it, planned whole: the way leads over the plate, or there is none."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest
from shapely.geometry import box

from routeplan.hazards.edges import driven_over, proven_for
from routeplan.hazards.wheel_loads import level_kn
from routeplan.machine.model import Machine
from routeplan.plan.whole import plan_site
from routeplan.route.model import Move
from routeplan.site.bearing import HardGround, Proof
from routeplan.site.model import Defect
from tests.plan.test_ground_load import LEVEL_KN, weighed
from tests.worlds import flat_site, place, scissor, spider, wanted

ISSUED = "2026-11-24T12:00:00+00:00"
DAY = dt.date(2026, 11, 20)
TRENCH = Defect("t", "trench", box(14.0, -1.0, 14.6, 21.0), 0.6, 1.2, 0.0, "plated")
#: What says what its wheels carry.
WEIGHED = ("rated_load_kg", "gravity_xi_m", "gravity_eta_m", "gravity_height_m", "wheel_load_max_kn")
#: Well off the straight way.
SPAN = box(13.5, 13.0, 15.1, 16.0)


def proven(limit_kn: float, day: dt.date = DAY, until: dt.date | None = None) -> Defect:
    return Defect("l", "plate", SPAN, 3.0, 0.0, 0.01, "proven", Proof(day, HardGround("engineer", limit_kn), until))


def planned(*defects: Defect, machine: Machine | None = None, on: dt.date | None = None, **layers: Any) -> Move:
    """The one move from west to east over a yard of 30 x 20 m."""
    site = flat_site(
        30.0, 20.0, machines=(machine or weighed(),), places=(place("w", 5.0, 10.0), place("e", 23.0, 10.0)),
        moves=(replace(wanted("SC", "w", "e"), on=on),), defects=defects, **layers,
    )  # fmt: skip
    return plan_site(site, issued=ISSUED).moves[0]


def test_the_way_leads_over_a_proven_plate_and_says_what_it_bears() -> None:
    move = planned(TRENCH, proven(40.0))
    assert (move.verdict, move.refused) == ("pass", None)
    over = [pose for pose in move.poses if 13.0 <= pose.x <= 14.5]
    assert over and all(13.4 < pose.y < 15.6 for pose in over)
    (load,) = (check for check in move.checks if check.kind == "ground load")
    assert (load.verdict, load.limit, load.source) == ("pass", 40.0, "l: engineer")
    assert load.value >= 2.0 * LEVEL_KN


def test_until_its_last_day_the_way_leads_over_a_plate_and_is_told_what_it_bears() -> None:
    """Its load is looked at though the plate is proven for some days only."""
    last = DAY + dt.timedelta(days=3)
    move = planned(TRENCH, proven(40.0, until=last), on=last)
    (load,) = (check for check in move.checks if check.kind == "ground load")
    assert (move.verdict, move.refused, load.source) == ("pass", None, "l: engineer")
    assert planned(TRENCH, proven(40.0, until=last), on=last + dt.timedelta(days=1)).verdict == "no route"


@pytest.mark.parametrize("plate", [
    Defect("l", "plate", SPAN, 3.0, 0.0, 0.01, "proven"),
    proven(2.0 * LEVEL_KN - 0.1),
], ids=["nobody's word", "too weak"])  # fmt: skip
def test_no_way_leads_over_what_is_not_proven_for_this_machine(plate: Defect) -> None:
    move = planned(TRENCH, plate)
    assert move.verdict == "no route"
    assert {miss.kind for miss in move.nearest_misses} == {"covers, plates and trenches"}


def test_what_is_driven_over() -> None:
    """By the newton, by the day, not by a machine that nobody weighed, and not on tracks."""
    machine, plate = weighed(wheel_load_max_kn=LEVEL_KN), proven(2.0 * LEVEL_KN + 0.001)
    shape = machine.configurations["stowed"]
    assert driven_over(plate, machine, shape, None) and driven_over(plate, machine, shape, DAY)
    assert not driven_over(plate, machine, shape, DAY - dt.timedelta(days=1))
    assert not driven_over(proven(2.0 * LEVEL_KN - 0.001), machine, shape, None)
    taken_away = proven(40.0, until=DAY + dt.timedelta(days=3))
    assert driven_over(taken_away, machine, shape, DAY + dt.timedelta(days=3))
    assert not driven_over(taken_away, machine, shape, DAY + dt.timedelta(days=4))
    assert not driven_over(taken_away, machine, shape, None) and proven_for(taken_away, machine, shape)
    bare = scissor()
    assert not driven_over(proven(900.0), bare, bare.configurations["stowed"], None)
    tracked, weight = spider(), {name: machine.figures[name] for name in WEIGHED}
    tracked = replace(tracked, figures={**tracked.figures, **weight})
    form = tracked.configurations["stowed"]
    assert level_kn(tracked, form) < 100.0 and not driven_over(proven(900.0), tracked, form, None)
