"""Until when a move and a plan hold: what is dated, which day of it counts, and how near a body has to come to it."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

import pytest
from shapely.geometry import Polygon, box

from routeplan.plan.validity import last_day, last_day_of_all
from routeplan.site.bearing import HardGround, Proof
from routeplan.site.elevated_zone import ElevatedZone
from routeplan.site.model import Acceptance, Area, Defect, Site, Surface
from tests import worlds
from tests.recheck.drives import drive, move_of

DAY = dt.date(2026, 12, 1)
MACHINE = worlds.scissor()
#: Five metres to the east; its body is 0.405 m to either side of y = 15.
POSES = drive(19.0, 15.0, 0.0, [(5.0, 0.0)], step_m=0.05)
MOVE = dataclasses.replace(move_of(POSES, MACHINE), on=DAY.isoformat())
#: Where it drives, and where it does not.
HERE, ELSEWHERE = box(20.0, 14.0, 22.0, 16.0), box(1.0, 1.0, 3.0, 3.0)


def day(after: int) -> dt.date:
    return DAY + dt.timedelta(days=after)


def yard(**layers: Any) -> Site:
    """A yard that dates nothing but what is given."""
    return worlds.flat_site(machines=(MACHINE,), **layers)


def closed(*first: int, ground: Polygon = HERE) -> Site:
    """An area closed for two days each, so many days after the move's."""
    return yard(areas=(Area("a", "bay", ground, tuple((day(one), day(one + 1)) for one in first)),))


def given(what: str, until: dt.date | None, ground: Polygon = HERE) -> Site:
    """Somebody's word on a piece of ground, until a day."""
    if what == "surface":
        return yard(surfaces=(Surface("s", ground, "stone", Acceptance("engineer", day(-9), 20_000.0, until)),))
    if what == "plate":
        proof = Proof(day(-9), HardGround("engineer", 90.0), until)
        return yard(defects=(Defect("p", "plate", ground, 1.0, 0.0, 0.0, "proven", proof),))
    word = worlds.zone(0.0, 0.0, 1.0, 1.0).acceptance
    assert word is not None and until is not None
    return yard(elevated_zones=(ElevatedZone("z", ground, dataclasses.replace(word, valid_until=until)),))


WORDS = ("surface", "plate", "zone")


@pytest.mark.parametrize("what", WORDS)
@pytest.mark.parametrize(("until", "last"), [(3, 3), (0, 0), (-1, None)])
def test_a_move_ends_with_the_last_day_of_a_word_on_its_ground(what: str, until: int, last: int | None) -> None:
    assert last_day(MOVE, given(what, day(until)), day(-2)) == (None if last is None else day(last))


@pytest.mark.parametrize("what", WORDS)
def test_ground_that_it_does_not_come_near_ends_nothing(what: str) -> None:
    assert last_day(MOVE, given(what, day(3), ELSEWHERE), DAY) is None
    assert last_day(MOVE, closed(3, ground=ELSEWHERE), DAY) is None


@pytest.mark.parametrize("what", ["surface", "plate"])
def test_a_word_without_a_last_day_ends_nothing(what: str) -> None:
    assert last_day(MOVE, given(what, None), DAY) is None


def test_a_move_ends_the_day_before_the_next_closure() -> None:
    for first, last in (((5,), 4), ((5, 9), 4), ((9, 5), 4), ((-5, 5), 4), ((1,), 0)):
        assert last_day(MOVE, closed(*first), day(-2)) == day(last)
    for past in ((-5,), (0,)):
        assert last_day(MOVE, closed(*past), day(-2)) is None


def test_what_ends_first_ends_it() -> None:
    both = dataclasses.replace(closed(5), surfaces=given("surface", day(3)).surfaces)
    assert last_day(MOVE, both, DAY) == day(3)


@pytest.mark.parametrize(("off_m", "ends"), [(1.0, True), (1.2, False)])
def test_what_its_tube_may_reach_counts(off_m: float, ends: bool) -> None:
    beside = box(20.0, 15.405 + off_m, 22.0, 20.0)
    assert (last_day(MOVE, closed(5, ground=beside), DAY) == day(4)) is ends


def test_a_move_without_a_way_or_a_day_of_its_own() -> None:
    """Without a way nothing ends; without a day the day of issue counts."""
    assert last_day(dataclasses.replace(MOVE, poses=()), closed(5), DAY) is None
    undated = dataclasses.replace(MOVE, on=None)
    assert last_day(undated, closed(5, 9), day(6)) == day(8)


def test_a_plan_ends_by_what_changes_after_the_last_day_of_its_moves() -> None:
    """A closure between two of its moves ends the first of them only."""
    later = dataclasses.replace(MOVE, id="M2", on=day(7).isoformat())
    site = closed(5, 12)
    assert [last_day(one, site, day(-2)) for one in (MOVE, later)] == [day(4), day(11)]
    assert last_day_of_all((MOVE, later), site, day(-2)) == day(11)
    assert last_day_of_all((MOVE,), site, day(-2)) == day(4)
    assert last_day_of_all((MOVE,), site, day(6)) == day(11), "nobody drives it before it is issued"
    assert last_day_of_all((), site, DAY) is None
