"""What a body may touch on its way, how far its tube reaches, and where people are told of an area opened."""

from __future__ import annotations

import dataclasses

import pytest
from shapely.geometry import Polygon, box

from routeplan.plan.covered import Covered, opened_on_the_way, outlines
from routeplan.site.model import Area
from tests import worlds
from tests.recheck.drives import drive

MACHINE = worlds.scissor()
#: Five metres to the east from x = 19; its body is 0.405 m to either side of y = 15 and 2.13 m ahead.
POSES = drive(19.0, 15.0, 0.0, [(5.0, 0.0)], step_m=0.05)
TUBE_M = 0.2
COVERED = Covered(POSES, outlines(POSES, MACHINE, "stowed"), TUBE_M)
SIDE_M = 15.405


def area(ground: Polygon, **other: bool) -> Area:
    return Area("bay", "north bay", ground, (), **other)


@pytest.mark.parametrize(("off_m", "touched"), [(TUBE_M - 0.001, True), (TUBE_M + 0.001, False)])
def test_it_may_touch_what_its_tube_reaches(off_m: float, touched: bool) -> None:
    thing = area(box(20.0, SIDE_M + off_m, 22.0, 18.0))
    assert COVERED.met([thing]) == (("bay",) if touched else ())
    assert (COVERED.first(thing) is not None) is touched


def test_people_are_told_of_an_area_opened_before_the_body_is_in_it() -> None:
    """At the first row from which it may be, and of no other area."""
    ahead = box(23.13, 14.0, 25.0, 16.0)
    opened = area(ahead, reopened=True)
    (control,) = opened_on_the_way(COVERED, [opened])
    assert control.kind == "opened area" and "north bay (bay)" in control.text
    assert control.chainage_m == pytest.approx(2.0 - TUBE_M, abs=0.05) and control.chainage_m <= 2.0
    elsewhere = dataclasses.replace(opened, geometry=box(1.0, 1.0, 2.0, 2.0))
    assert not list(opened_on_the_way(COVERED, [area(ahead), elsewhere]))


def test_each_row_is_as_large_as_the_machine_in_its_travel_mode() -> None:
    stowed = MACHINE.configurations["stowed"]
    folded = dataclasses.replace(stowed, id="stowed_rails_folded", footprint=((0.0, -0.1), (1.0, -0.1), (1.0, 0.1)))
    machine = dataclasses.replace(MACHINE, configurations={**MACHINE.configurations, folded.id: folded})
    ridden, beside = POSES[0], POSES[0]._replace(travel_mode="beside_rails_folded")
    first, last = outlines([ridden, beside], machine, "stowed")
    assert first.area == pytest.approx(Polygon(stowed.footprint).area)
    assert last.area == pytest.approx(0.1)
