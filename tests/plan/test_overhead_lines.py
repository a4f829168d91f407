"""The search under overhead lines: what may pass, what is barred, and the goal posts that a way under a line takes."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest
from shapely.geometry import box

from routeplan.plan.swing import SWING
from routeplan.plan.whole import plan_site
from routeplan.recheck.opinion import recheck_plan
from routeplan.route.model import Move, Plan
from routeplan.site.model import LineCorridor, LineHeight, SafetyDistance, Site
from tests.worlds import flat_site, place, scissor, wanted

ISSUED = "2026-11-24T12:00:00+00:00"
ACROSS = box(12.0, -1.0, 17.0, 21.0)
DISTANCE = SafetyDistance(11.0, 1.829, "invented for a test", "invented for a test")
SAG_M = 0.30
#: The operator's head on the scissor, and how far the ground lies above level 0.
HEAD_M, GROUND_M = 1.20 + 2.00, 0.25
#: The level ground asks for no more than k sigma of the survey: about 1 mm at most.
SURVEY_M = 0.008


def line(level_m: float, *, sigma_m: float | None = 1e-6) -> LineCorridor:
    return LineCorridor("l", ACROSS, 1.0, DISTANCE, LineHeight(level_m, SAG_M, sigma_m, "S1"))


def yard(*lines: LineCorridor) -> Site:
    return flat_site(
        30.0, 20.0, z=np.full((81, 121), GROUND_M), machines=(scissor(),),
        places=(place("w", 5.0, 10.0), place("e", 23.0, 10.0)), moves=(wanted("SC", "w", "e"),), line_corridors=lines,
    )  # fmt: skip


def planned(*lines: LineCorridor) -> tuple[Plan, Move]:
    plan = plan_site(yard(*lines), issued=ISSUED)
    return plan, plan.moves[0]


def test_ten_millimetres_of_height() -> None:
    """Level ground, closed form: ground, head, safety distance and sag add up to where the line must hang."""
    just_m = GROUND_M + HEAD_M + DISTANCE.distance_m + SAG_M
    _, low = planned(line(just_m - 0.010))
    assert low.verdict == "no route"
    assert all("line clearance is short by" in miss.text for miss in low.nearest_misses)
    plan, high = planned(line(just_m + 0.010))
    assert (high.verdict, high.refused) == ("pass with controls", None)
    (check,) = (check for check in high.checks if check.kind == "line clearance")
    assert check.verdict == "pass" and 0.010 - SURVEY_M <= check.margin <= 0.010
    lowered = recheck_plan(plan, site=yard(line(just_m - 0.010)))
    assert {objection.kind for objection in lowered["M1"]} == {"line clearance", SWING}


def test_goal_posts_stand_on_both_sides_and_bar_what_would_come_too_near() -> None:
    level_m = GROUND_M + 7.0
    _, move = planned(line(level_m, sigma_m=0.05))
    (posts,) = (control for control in move.controls if control.kind == "overhead line")
    found = re.search(r"at ([\d.]+) m and ([\d.]+) m.*overhead line l.*at most ([\d.]+) m", posts.text)
    assert found is not None
    before_m, beyond_m, bar_m = map(float, found.groups())
    assert before_m == pytest.approx(posts.chainage_m, abs=0.05)
    inside = [pose for pose in move.poses if 12.0 - 2.13 < pose.x < 17.0 + 0.27]
    assert before_m <= inside[0].chainage_m + 0.05 and beyond_m >= inside[-1].chainage_m - 0.05
    k = next(check.k for check in move.checks if check.kind == "line clearance")
    exact_m = level_m - SAG_M - DISTANCE.distance_m - k * 0.05 - GROUND_M
    assert exact_m - 0.01 <= bar_m <= exact_m


def test_a_line_that_nobody_measured_well_is_never_a_pass() -> None:
    _, move = planned(line(20.0, sigma_m=None))
    assert (move.verdict, move.refused) == ("not proven", None)
    (check,) = (check for check in move.checks if check.kind == "line clearance")
    assert check.verdict == "not proven" and any("line l has no accuracy" in why for why in check.assumed)
    (posts,) = (control for control in move.controls if control.kind == "overhead line")
    assert "not known" in posts.text and "nan" not in posts.text and "inf" not in posts.text


def test_without_a_height_no_way_leads_under_it() -> None:
    _, move = planned(dataclasses.replace(line(20.0), height=None))
    assert move.verdict == "no route"
    assert all("overhead lines is short by" in miss.text for miss in move.nearest_misses)
