"""Small sites whose only way needs coordinated steer, or crab steer; what the rows and the controls then say."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from shapely.geometry import box

from routeplan.plan.whole import plan_site
from routeplan.recheck.opinion import recheck_plan
from routeplan.route.model import Move, Plan
from routeplan.site.model import Obstacle, Site, Thresholds
from tests import worlds

LIMITS = Thresholds(
    lateral_tolerance_m=0.05, heading_tolerance_deg=0.5, body_gap_m=0.05, structure_clearance_m=0.05
)  # fmt: skip
COORDINATED, CRAB = {"turn_radius_outside_coordinated_m": 2.2}, {"crab_angle_deg": 20.0}


def walls(*boxes: tuple[float, float, float, float]) -> tuple[Obstacle, ...]:
    return tuple(Obstacle(f"w{n}", box(*corners), "wall", None) for n, corners in enumerate(boxes))


End = tuple[float, float, float]


def site_with(start: End, goal: End, figures: dict[str, float], **layers: Any) -> Site:
    machine = worlds.scissor("SC", tag="sheet", **({"turn_radius_outside_m": 4.0} | figures))
    return worlds.flat_site(
        22.0, 20.0, machines=(machine,), places=(worlds.place("a", *start), worlds.place("b", *goal)),
        moves=(worlds.wanted("SC", "a", "b"),), thresholds=LIMITS, **layers,
    )  # fmt: skip


def elbow(figures: dict[str, float]) -> Site:
    """Two lanes 1.9 m wide that meet at a right angle: the machine turns about 3 m in front steer, 1.4 m with both."""
    lane = 1.9
    obstacles = walls((0, lane + 2, 18 - lane, 20), (0, 0, 22, 2), (18, 0, 22, 20))
    return site_with((4.0, 2 + lane / 2, 90.0), (18 - lane / 2, 16.0, 0.0), figures, obstacles=obstacles)


def jog(figures: dict[str, float]) -> Site:
    """Two lanes as wide as the machine and its tube and 4 cm more, half a metre aside of each other; 4.5 m between."""
    half = 0.405 + 0.05 / math.cos(math.radians(20.0)) + 2.13 * math.sin(math.radians(0.5)) + 0.05 + 0.02
    south, north, west, east = 5.0, 5.5, 9.0, 13.5
    obstacles = walls(
        (0, 0, east, south - half), (east, 0, 22, north - half), (0, south + half, west, 20),
        (west, north + half, 22, 20),
    )  # fmt: skip
    return site_with((4.0, south, 90.0), (17.0, north, 90.0), figures, obstacles=obstacles)


def planned(site: Site) -> tuple[Plan, Move]:
    plan = plan_site(site, issued="2026-11-24T12:00:00+00:00")
    return plan, plan.moves[0]


def steers(move: Move) -> list[str]:
    """Ways of steering in the order driven."""
    return [after for before, after in pairwise(["", *(pose.steer for pose in move.poses)]) if after != before]


@pytest.mark.parametrize(("site_of", "figures", "steer"), [(elbow, COORDINATED, "coordinated"), (jog, CRAB, "crab")])
def test_a_way_that_front_steer_cannot_drive(
    site_of: Callable[[dict[str, float]], Site], figures: dict[str, float], steer: str
) -> None:
    assert planned(site_of({}))[1].verdict == "no route"
    plan, move = planned(site := site_of(figures))
    assert (move.verdict, move.refused) == ("pass with controls", None), move.reason
    assert steer in steers(move) and set(steers(move)) <= {"front", steer}
    set_at = [control for control in move.controls if control.kind == "steering"]
    assert len(set_at) == len(steers(move)) - (steers(move)[0] == "front")
    assert all("Stop, set steering to" in control.text for control in set_at)
    assert not recheck_plan(plan, site=site)["M1"]
    for wrong in ({steer: "front"}, {"front": steer, steer: "front"}):
        poses = tuple(pose._replace(steer=wrong.get(pose.steer, pose.steer)) for pose in move.poses)
        assert recheck_plan(replace(plan, moves=(replace(move, poses=poses),)), site=site)["M1"]


def test_rows_repeat_the_pose_where_the_steering_changes() -> None:
    _, move = planned(elbow(COORDINATED))
    for before, after in pairwise(move.poses):
        if before.steer != after.steer:
            assert before[:3] == after[:3] and before.chainage_m == after.chainage_m


def test_where_front_steer_will_do_it_is_driven() -> None:
    site = site_with((4.0, 4.0, 90.0), (17.0, 15.0, 0.0), COORDINATED | CRAB)
    _, move = planned(site)
    assert move.verdict == "pass" and steers(move) == ["front"] and not move.controls


def test_a_radius_of_the_class_leaves_turning_not_proven() -> None:
    site = elbow(COORDINATED)
    machine = site.machines["SC"]
    name = "turn_radius_outside_coordinated_m"
    figures = {**machine.figures, name: replace(machine.figures[name], tag="class")}
    _, move = planned(replace(site, machines={"SC": replace(machine, figures=figures)}))
    assert (move.verdict, move.refused, move.reason) == ("not proven", None, "open: turning")
