"""Moves without a day of their own count on what was accepted by the day of issue, and on nothing later."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from shapely.geometry import box

from routeplan.plan.whole import plan_site
from routeplan.recheck.opinion import recheck_plan
from routeplan.site.bearing import HardGround, Proof
from routeplan.site.changes import given_by
from routeplan.site.model import Acceptance, Defect, Surface
from routeplan.site.read import read_site
from tests import worlds
from tests.plan.yards import write_yard


@pytest.mark.parametrize(("issued", "drivable"), [("2026-11-02", True), ("2026-11-01", False)])
def test_ground_that_is_accepted_after_the_day_of_issue_carries_no_move_without_a_day(
    tmp_path: Path, issued: str, drivable: bool
) -> None:
    site = read_site(write_yard(tmp_path))
    plan = plan_site(site, issued=f"{issued}T07:00:00+00:00")
    (move,) = plan.moves
    assert plan.conditions.on == issued
    assert (move.verdict == "pass") is bool(move.poses) is drivable
    assert not any(recheck_plan(plan, site=site).values())


@pytest.mark.parametrize(("days", "counts"), [(0, True), (1, False)])
def test_words_count_from_the_day_that_they_are_given_on(days: int, counts: bool) -> None:
    """Of a surface, and of a plate."""
    day = dt.date(2026, 11, 20)
    given = day + dt.timedelta(days=days)
    surface = Surface("s", worlds.flat_site().boundary, "stone", Acceptance("engineer", given, 20_000.0))
    proof = Proof(given, HardGround("engineer", 40.0), None)
    plate = Defect("p", "plate", box(1.0, 1.0, 2.0, 2.0), 1.0, 0.0, 0.0, "proven", proof)
    site = given_by(worlds.flat_site(surfaces=(surface,), defects=(plate,)), day)
    assert (site.surfaces[0].acceptance is not None) is counts
    assert (site.defects[0].proof is not None) is counts
