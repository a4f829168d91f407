"""Rescue from workfaces: where people come from, and a second machine led to stand beside the first by the planner."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import pytest
from shapely import affinity
from shapely.geometry import Polygon, box

from routeplan.machine.model import Machine
from routeplan.plan.rescue import BESIDE_M, rescues
from routeplan.plan.whole import Issue, plan_site
from routeplan.recheck.opinion import second_opinion
from routeplan.route.lifelines import Rescue
from routeplan.route.model import Conditions, Move, Objection, heading_rad
from routeplan.site.model import GridSpec, Obstacle, Place, Site
from tests import worlds

EAST_M, NORTH_M = 20.0, 12.0
ISSUE = Issue("2026-11-24T12:00:00+00:00")
FIRST, SECOND = worlds.scissor("S1", pivots=1.0), worlds.scissor("S2", pivots=1.0)


def yard(*walls: Polygon, places: tuple[Place, ...] = (), second: bool = True) -> Site:
    """The first machine goes to work in the east; the second came before it and stands in the south-west."""
    ends = (
        worlds.place("dropoff", 2.5, 6.0, kind="drop-off"), worlds.place("face", 15.0, 6.0, 90.0, kind="workface"),
        worlds.place("aside", 4.0, 2.5, 90.0),
    )  # fmt: skip
    moves = [worlds.wanted("S1", "dropoff", "face", move_id="M2")]
    if second:
        moves.insert(0, worlds.wanted("S2", "dropoff", "aside", move_id="M1"))
    return worlds.flat_site(
        EAST_M, NORTH_M, machines=(FIRST, SECOND) if second else (FIRST,), places=(*ends, *places),
        moves=tuple(moves), grid=GridSpec(cell_m=0.5),
        obstacles=tuple(Obstacle(f"w{n}", wall, "wall", None) for n, wall in enumerate(walls)),
    )  # fmt: skip


def rescue(site: Site, later: Site | None = None) -> Rescue:
    """Of the only workface, once all moves are made; then on the site as it is later."""
    moves = plan_site(site, issued=ISSUE.issued).moves
    assert all(move.poses for move in moves)
    (found,) = rescues(later or site, moves, ISSUE)
    return found


@cache
def open_yard() -> Rescue:
    return rescue(yard())


def outline(x: float, y: float, bearing_deg: float) -> Polygon:
    """Of either machine in some pose."""
    turned = affinity.rotate(
        Polygon(FIRST.configurations["stowed"].footprint), heading_rad(bearing_deg), origin=(0, 0), use_radians=True
    )
    return affinity.translate(turned, x, y)


def test_the_second_machine_comes_to_stand_beside_the_first_and_not_in_it() -> None:
    (second,) = open_yard().seconds
    assert second.machine == "S2" and second.start == "where it stands" and not second.slews
    assert second.ends is not None and second.verdict in ("pass", "pass with controls")
    gap_m = outline(*second.ends).distance(outline(15.0, 6.0, 90.0))
    assert 0.1 <= gap_m <= BESIDE_M
    straight_m = math.dist((4.0, 2.5), second.ends[:2])
    assert straight_m <= second.length_m <= straight_m + 4.0


def test_what_nobody_knows_of_it_is_said() -> None:
    told = open_yard().words()
    assert told[1].startswith("S2 (does not slew) from where it stands: ")
    assert told[1].endswith("how far it reaches and how high it lifts is not known")


def test_people_come_from_where_it_was_delivered_unless_the_site_has_a_gate_or_a_refuge() -> None:
    found = open_yard().on_foot
    assert found is not None and found.start == "dropoff"
    assert found.length_m == pytest.approx(15.0 - 0.27 - 0.8 - 2.5, abs=0.3)
    refuge = worlds.place("refuge", 15.0, 10.0, kind="refuge")
    found = rescue(yard(places=(refuge,), second=False)).on_foot
    assert found is not None and found.start == "refuge"
    assert found.length_m == pytest.approx(10.0 - 6.405 - 0.8, abs=0.3)


def test_where_no_way_leads_it_says_what_blocks() -> None:
    """A wall is built behind the first machine: nobody comes to it any more."""
    later = yard(box(10.0, 0.0, 10.2, NORTH_M))
    found = rescue(yard(), later)
    (second,) = found.seconds
    assert second.ends is None and second.verdict == "no route"
    assert second.words().startswith("S2 (does not slew) from where it stands: no way to stand beside it: the nearest")
    assert found.on_foot is None and found.words()[0].endswith("in the way: wall w0")


def test_the_first_machine_is_in_the_way_itself() -> None:
    """It stands in a lane; a second one stops before it, on the side that it comes from."""
    lane = box(10.0, 0.0, EAST_M, 4.8), box(10.0, 7.2, EAST_M, NORTH_M)
    (second,) = rescue(yard(*lane)).seconds
    assert second.ends is not None and second.ends[0] < 15.0 - 0.27 - 2.13
    assert outline(*second.ends).distance(outline(15.0, 6.0, 90.0)) > 0.1


def test_a_site_with_one_machine_has_no_second() -> None:
    found = rescue(yard(second=False))
    assert found.seconds == () and found.words()[-1].startswith("no second machine: no other on this site slews")


def test_a_machine_that_nobody_placed_is_said_to_be_nowhere() -> None:
    site = yard(second=False)
    site = replace(site, machines={**site.machines, "S2": SECOND})
    (second,) = rescue(site).seconds
    assert second.ends is None and second.why == "nobody says where it stands"


def test_one_that_comes_later_comes_from_its_drop_off() -> None:
    site = yard()
    site = replace(site, moves=tuple(reversed(site.moves)))
    (second,) = rescue(site).seconds
    assert second.start == "dropoff, where it comes" and second.ends is not None


def test_it_keeps_the_gaps_from_the_first_machine_that_it_keeps_from_anything(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where only poses nearer than that are beside it, it can stand in none."""
    monkeypatch.setattr("routeplan.plan.rescue.BESIDE_M", 0.4)
    (second,) = rescue(yard()).seconds
    assert second.ends is None and second.why.startswith("the machine cannot stand at a place beside the first machine")


def test_a_way_that_the_second_opinion_refuses_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuses(
        move: Move, k: float | None, *, site: Site, machine: Machine, conditions: Conditions
    ) -> tuple[Objection, ...]:
        more = (Objection("form", 0.0, (0.0, 0.0), 0.0, 0.0, "", "refused for a test"),) if "second" in move.id else ()
        return second_opinion(move, k, site=site, machine=machine, conditions=conditions) + more

    monkeypatch.setattr("routeplan.plan.whole.second_opinion", refuses)
    (second,) = rescue(yard()).seconds
    assert second.ends is None and second.verdict == "fail" and "the second opinion refuses" in second.why
