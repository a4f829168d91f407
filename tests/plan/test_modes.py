"""A move whose travel mode is left to the planner changes it at hold points, and only where that is needed."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from shapely.geometry import box

from routeplan.machine.model import Figure, Machine, Tag
from routeplan.plan.whole import plan_site
from routeplan.recheck.opinion import recheck_plan
from routeplan.route.model import Hold, Move, Plan
from routeplan.site.model import Obstacle, Site, Soffit, TravelMode
from tests import worlds

DOOR_M = 2.4


def folding() -> Machine:
    """The test scissor, 2.30 m high with its rails up, 1.85 m with its rails folded."""
    machine = worlds.scissor()
    stowed = machine.configurations["stowed"]
    chassis, platform = stowed.boxes
    folded = replace(stowed, id="stowed_rails_folded", boxes=(chassis, replace(platform, top_m=1.85, occupied=False)))
    figures = {**machine.figures, "height_folded_m": Figure("height_folded_m", 1.85, "sheet", "invented for a test")}
    return replace(machine, figures=figures, configurations={"stowed": stowed, folded.id: folded})


def hall(head_m: float, *, travel_mode: str = "any", machine: Machine | None = None) -> Site:
    """A yard and a hall, a wall between them, and a door with a head this high."""
    walls = (box(14.0, -1.0, 14.3, 10.0 - DOOR_M / 2), box(14.0, 10.0 + DOOR_M / 2, 14.3, 21.0))
    head = box(14.0, 10.0 - DOOR_M / 2, 14.3, 10.0 + DOOR_M / 2)
    return worlds.flat_site(
        30.0, 20.0, machines=(machine or folding(),),
        moves=(worlds.wanted("SC", "yard", "hall", travel_mode=travel_mode),),
        places=(worlds.place("yard", 5.0, 10.0), worlds.place("hall", 24.0, 10.0)),
        obstacles=tuple(Obstacle(f"wall-{n}", wall, "wall", None) for n, wall in enumerate(walls)),
        soffits=(Soffit("door-head", head, "door", None, head_m, 0.0, 0.0, 0.002, "S1"),),
    )  # fmt: skip


def planned(site: Site) -> Plan:
    return plan_site(site, issued="2026-11-24T12:00:00+00:00")


def modes(move: Move) -> list[str]:
    """Travel modes in the order driven."""
    found = [pose.travel_mode for pose in move.poses]
    return [mode for before, mode in pairwise(["", *found]) if mode != before]


def test_a_low_door_is_passed_with_the_rails_folded_between_two_hold_points() -> None:
    site = hall(2.1)
    (move,) = planned(site).moves
    assert (move.verdict, move.refused) == ("pass with controls", None), move.reason
    assert modes(move)[0] == "ridden" and "beside_rails_folded" in modes(move)
    through = {pose.travel_mode for pose in move.poses if 11.5 < pose.x < 14.5}
    assert through == {"beside_rails_folded"}
    assert len(move.holds) == len(modes(move)) - 1
    assert [leg.start for leg in move.legs] == ["yard", "hold point 1", "gap between wall-0 and wall-1"]
    assert [leg.travel_mode for leg in move.legs] == ["ridden", "beside_rails_folded", "beside_rails_folded"]
    assert all("Stop" in hold.text for hold in move.holds)


def test_a_higher_door_is_passed_from_beside_with_the_rails_up() -> None:
    (move,) = planned(hall(2.6)).moves
    assert "beside_rails_up" in modes(move) and "beside_rails_folded" not in modes(move)


def test_a_high_door_is_ridden_through() -> None:
    (move,) = planned(hall(4.5)).moves
    assert modes(move) == ["ridden"] and not move.holds


def test_a_door_too_low_for_folded_rails_leaves_no_way() -> None:
    (move,) = planned(hall(1.9)).moves
    assert move.verdict == "no route"


def test_the_mode_is_the_sites_where_it_names_one() -> None:
    (move,) = planned(hall(2.1, travel_mode="ridden")).moves
    assert move.verdict == "no route"


def test_a_machine_without_folding_rails_does_not_pass() -> None:
    (move,) = planned(hall(2.1, machine=worlds.scissor())).moves
    assert move.verdict == "no route"


@pytest.mark.parametrize("spoil", ["no hold", "rails up", "ridden through"])
def test_the_second_opinion_refuses_what_is_not_so(spoil: str) -> None:
    site = hall(2.1)
    plan = planned(site)
    (move,) = plan.moves
    if spoil == "no hold":
        move = replace(move, holds=())
    elif spoil == "rails up":
        move = replace(move, poses=tuple(
            pose._replace(travel_mode="beside_rails_up") if pose.travel_mode == "beside_rails_folded" else pose
            for pose in move.poses
        ))  # fmt: skip
    else:
        move = replace(move, poses=tuple(pose._replace(travel_mode="ridden") for pose in move.poses))
    assert not recheck_plan(plan, site=site)["M1"]
    assert recheck_plan(replace(plan, moves=(move,)), site=site)["M1"]


def test_a_hold_says_what_to_do() -> None:
    (move,) = planned(hall(2.1)).moves
    first: Hold = move.holds[0]
    assert "fold the rails" in first.text and first.place[0] < 12.0


@pytest.mark.parametrize("on", ["beside_rails_folded", "beside_rails_up"])
def test_a_machine_left_in_another_mode_is_set_to_its_own_before_it_drives_off(on: TravelMode) -> None:
    site = hall(2.1)
    there = replace(worlds.wanted("SC", "yard", "hall", travel_mode="beside_rails_folded"), id="M0")
    back = worlds.wanted("SC", "hall", "yard", travel_mode=on)
    moved, moved_back = planned(replace(site, soffits=(), moves=(there, back))).moves
    assert moved.poses[-1].travel_mode == "beside_rails_folded"
    told = [hold.text for hold in moved_back.holds if hold.chainage_m == 0.0]
    up = "Stop, key out. Get down and drive on from beside the machine, rails up."
    assert told == ([] if on == "beside_rails_folded" else [up])


def test_a_folded_height_of_the_class_leaves_the_way_not_proven() -> None:
    """Rails folded shape the body: a height that only the class gives is no more trusted than any other."""
    machine = folding()
    cases: tuple[tuple[Tag, str], ...] = (("sheet", "pass with controls"), ("class", "not proven"))
    for tag, verdict in cases:
        height = Figure("height_folded_m", 1.85, tag, "invented")
        figures = {**machine.figures, "height_folded_m": height}
        (move,) = planned(hall(2.1, machine=replace(machine, figures=figures))).moves
        assert (move.verdict, move.refused) == (verdict, None), move.reason


def test_a_metre_beside_the_machine_counts_alike_in_a_way_and_in_the_least_that_it_can_cost() -> None:
    (move,) = planned(hall(2.6, travel_mode="beside_rails_up")).moves
    assert move.cost_m >= 1.5 * 19.0, "the machine is walked beside"
    assert 1.0 <= move.bound < 1.1
