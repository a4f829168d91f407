"""A tracked machine planned: it is given a way, and nothing that rests on levels under its tracks passes."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shapely.geometry import box

from routeplan.machine.modelled import UNDER_TRACKS
from routeplan.plan.whole import plan_site
from routeplan.recheck.opinion import recheck_plan
from routeplan.route.model import Move, Plan
from routeplan.site.model import Obstacle, Site
from tests import worlds
from tests.hazards.test_tracks import OPEN


@pytest.fixture(scope="module")
def planned() -> tuple[Site, Plan]:
    """A lane with an elbow in it, wide enough to turn a machine of 5.4 m round on the spot in the corner only."""
    walls = ((0.0, 8.0, 17.0, 24.0), (0.0, 0.0, 26.0, 4.0), (25.0, 0.0, 26.0, 24.0))
    site = worlds.flat_site(
        26.0, 24.0, machines=(worlds.spider(),), moves=(worlds.wanted("SP", "w", "n", travel_mode="beside_rails_up"),),
        places=(worlds.place("w", 5.0, 6.0, 90.0), worlds.place("n", 21.0, 18.0, 180.0, kind="workface")),
        obstacles=tuple(Obstacle(f"o{n}", box(*corners), "wall", None) for n, corners in enumerate(walls)),
    )  # fmt: skip
    return site, plan_site(site, issued="2026-11-24T12:00:00+00:00")


def said(site: Site, plan: Plan, move: Move) -> str:
    found = recheck_plan(replace(plan, moves=(move,)), site=site)["M1"]
    return "\n".join(objection.text for objection in found)


def test_it_is_given_a_way_and_not_a_pass(planned: tuple[Site, Plan]) -> None:
    site, plan = planned
    (move,) = plan.moves
    assert (move.verdict, move.refused) == ("not proven", None), move.reason
    assert {check.kind for check in move.checks if check.verdict == "not proven"} == OPEN
    assert all((UNDER_TRACKS in check.assumed) == (check.kind in OPEN) for check in move.checks)
    assert said(site, plan, move) == ""


def test_its_rows_are_skid_steer_and_turns_on_the_spot_and_nobody_sets_anything(planned: tuple[Site, Plan]) -> None:
    site, plan = planned
    (move,) = plan.moves
    assert {"skid"} <= {pose.steer for pose in move.poses} <= {"skid", "pivot"}
    assert not [control for control in move.controls if control.kind == "steering"]
    wheels = tuple(pose._replace(steer=pose.steer.replace("skid", "front")) for pose in move.poses)
    assert "steering is 'front' on tracks" in said(site, plan, replace(move, poses=wheels))


@pytest.mark.parametrize("kind", sorted(OPEN))
def test_the_second_opinion_refuses_a_pass_of_what_rests_on_the_ground_under_tracks(
    planned: tuple[Site, Plan], kind: str
) -> None:
    site, plan = planned
    (move,) = plan.moves
    checks = tuple(replace(check, verdict="pass") if check.kind == kind else check for check in move.checks)
    assert UNDER_TRACKS in said(site, plan, replace(move, checks=checks))


def test_wheels_are_not_steered_as_tracks_are() -> None:
    site = worlds.flat_site(
        26.0, 24.0, machines=(worlds.scissor(),), moves=(worlds.wanted("SC", "w", "e"),),
        places=(worlds.place("w", 5.0, 6.0, 90.0), worlds.place("e", 20.0, 6.0, 90.0)),
    )  # fmt: skip
    plan = plan_site(site, issued="2026-11-24T12:00:00+00:00")
    (move,) = plan.moves
    assert said(site, plan, move) == ""
    poses = tuple(pose._replace(steer="skid") for pose in move.poses)
    assert "steering is 'skid' on wheels" in said(site, plan, replace(move, poses=poses))
