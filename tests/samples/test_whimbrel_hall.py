"""Whimbrel Hall planned: rails folded at the low door, one move not proven on purpose and one without a route."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from routeplan.plan.whole import plan_site
from routeplan.route.model import Move
from routeplan.site.model import Site
from routeplan.site.read import read_site
from tests.samples import whimbrel_hall

#: Machine, where from and where to, and verdict of the moves that are planned here; the others are plain deliveries.
PLANNED = {
    "D1": ("S6", "dock-1", "plant-1", "pass with controls"),
    "R1": ("N10", "store-1", "bay-2", "not proven"),
    "R2": ("B15", "bay-1", "store-1", "no route"),
    "C1": ("S6", "plant-1", "hoist-1", "pass with controls"),
}
DOOR_EAST_M = 33.0


@pytest.fixture(scope="module")
def site() -> Site:
    return read_site(whimbrel_hall.SAMPLE.folder)


@pytest.fixture(scope="module")
def moves(site: Site) -> dict[str, Move]:
    wanted = tuple(move for move in site.moves if move.id in PLANNED)
    plan = plan_site(replace(site, moves=wanted), issued="2026-11-25T12:00:00+00:00")
    return {move.id: move for move in plan.moves}


def modes_over(move: Move, east_m: float, reach_m: float) -> set[str]:
    """Travel modes of the rows around an easting."""
    return {pose.travel_mode for pose in move.poses if abs(pose.x - east_m) < reach_m}


def test_each_move_has_the_verdict_that_it_is_there_for(moves: dict[str, Move]) -> None:
    found = {move.id: (move.machine, move.start, move.goal, move.verdict) for move in moves.values()}
    assert found == PLANNED
    assert all(move.refused is None for move in moves.values())


def test_the_low_door_is_passed_with_the_rails_folded_and_the_hall_is_ridden(moves: dict[str, Move]) -> None:
    """The door is 2.10 m high, the machine 2.20 m with its rails up and 1.86 m with its rails folded."""
    move = moves["D1"]
    assert modes_over(move, DOOR_EAST_M, 2.0) == {"beside_rails_folded"}
    assert modes_over(move, 10.0, 15.0) == {"ridden"}
    (change,) = (b for a, b in pairwise(move.poses) if a.travel_mode != b.travel_mode)
    (hold,) = (hold for hold in move.holds if hold.chainage_m == change.chainage_m)
    assert "fold the rails" in hold.text
    assert "plant-door" in [leg.goal for leg in move.legs]


def test_a_machine_that_leaves_with_its_rails_folded_folds_them_first(moves: dict[str, Move]) -> None:
    move = moves["C1"]
    assert {pose.travel_mode for pose in move.poses} == {"beside_rails_folded"}
    assert [(hold.chainage_m, "fold the rails" in hold.text) for hold in move.holds] == [(0.0, True)]


def test_the_duct_that_nobody_measured_is_what_leaves_a_move_open(moves: dict[str, Move]) -> None:
    move = moves["R1"]
    open_checks = {check.kind: check.assumed for check in move.checks if check.verdict == "not proven"}
    assert set(open_checks) == {"head gap", "overhead clearance", "basket swing"}
    assert all(len(why) == 1 and "duct-bay" in why[0] for why in open_checks.values())


def test_the_door_that_is_too_narrow_is_named(moves: dict[str, Move]) -> None:
    move = moves["R2"]
    assert move.nearest_misses[0].kind == "side clearance"
    assert move.reason.startswith("the nearest barrier is at Store door, 2.6 m wide, with sill (store-door), E ")
    assert "side clearance is short by" in move.reason and "; every way on a grid of 0.50 m " in move.reason


def test_the_landing_takes_the_machine_that_leaves_over_it_and_no_other(site: Site) -> None:
    (landing,) = (surface for surface in site.surfaces if surface.id == "hoist-landing")
    assert landing.acceptance is not None
    masses = {name: machine.value("mass_kg") for name, machine in site.machines.items()}
    assert {name for name, mass in masses.items() if mass <= landing.acceptance.mass_limit_kg} == {"S6"}
