"""Moves without a day of their own count on what was accepted by the day of issue, and on nothing later."""

from __future__ import annotations

from pathlib import Path

import pytest

from routeplan.plan.whole import plan_site
from routeplan.recheck.opinion import recheck_plan
from routeplan.site.read import read_site
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
