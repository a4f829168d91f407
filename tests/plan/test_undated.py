"""Moves without a day of their own count on what was accepted by the day of issue, and on nothing later."""

from __future__ import annotations

import dataclasses
import datetime as dt
from pathlib import Path

import pytest
from shapely.geometry import box

from routeplan.plan.changes import Reroute
from routeplan.plan.whole import Issue, plan_site
from routeplan.recheck.opinion import recheck_plan
from routeplan.route.model import Conditions
from routeplan.site.bearing import HardGround, Proof
from routeplan.site.changes import given_by
from routeplan.site.model import Acceptance, Defect, Surface
from routeplan.site.read import read_site
from tests import worlds
from tests.plan.yards import write_yard
from tests.plans import plan

BAY = box(1.0, 1.0, 2.0, 2.0)


@pytest.mark.parametrize(("issued", "drivable"), [("2026-11-02", True), ("2026-11-01", False)])
def test_ground_that_is_accepted_after_the_day_of_issue_carries_no_move_without_a_day(
    tmp_path: Path, issued: str, drivable: bool
) -> None:
    site = read_site(write_yard(tmp_path))
    made = plan_site(site, issued=f"{issued}T07:00:00+00:00")
    (move,) = made.moves
    assert made.conditions.on == issued
    assert (move.verdict == "pass") is bool(move.poses) is drivable
    assert move.refused is None, "the planner knows by itself"
    assert not any(recheck_plan(made, site=site).values())


@pytest.mark.parametrize(("days", "counts"), [(0, True), (1, False)])
def test_words_count_from_the_day_that_they_are_given_on(days: int, counts: bool) -> None:
    """Of a surface, and of a plate."""
    day = dt.date(2026, 11, 20)
    given = day + dt.timedelta(days=days)
    surface = Surface("s", worlds.flat_site().boundary, "stone", Acceptance("engineer", given, 20_000.0))
    proof = Proof(given, HardGround("engineer", 40.0), None)
    plate = Defect("p", "plate", BAY, 1.0, 0.0, 0.0, "proven", proof)
    site = given_by(worlds.flat_site(surfaces=(surface,), defects=(plate,)), day)
    assert (site.surfaces[0].acceptance is not None) is counts
    assert (site.defects[0].proof is not None) is counts


@pytest.mark.parametrize(("given", "since"), [("2026-11-20", False), ("2026-11-21", True), ("2026-11-25", True),
                                              ("2026-11-26", False)])  # fmt: skip
def test_a_move_without_a_day_is_not_kept_when_something_was_given_since(given: str, since: bool) -> None:
    """From the plan before, of 20 November, to the one to come, of 25 November: what it opens may be cheaper."""
    day = dt.date.fromisoformat(given)
    surface = Surface("s", worlds.flat_site().boundary, "stone", Acceptance("engineer", day, 20_000.0))
    plate = Defect("p", "plate", BAY, 1.0, 0.0, 0.0, "proven", Proof(day, HardGround("engineer", 40.0), None))
    move = dataclasses.replace(plan().moves[0], under=Conditions(on="2026-11-20"))
    for site in (worlds.flat_site(surfaces=(surface,)), worlds.flat_site(surfaces=(), defects=(plate,))):
        reroute = Reroute(plan(), (), site, Issue("2026-11-25T07:00:00+00:00", "2"), {})
        assert reroute._given_since(move) is since
        assert not reroute._given_since(dataclasses.replace(move, under=Conditions())), "of a day of its own"
