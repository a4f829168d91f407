"""A soffit that nobody measured leaves open what goes under it, and nothing else; the search goes round if it can."""

from __future__ import annotations

import pytest
from shapely.geometry import box

from routeplan.plan.whole import plan_site
from routeplan.recheck.opinion import recheck_plan
from routeplan.route.model import Check, Plan
from routeplan.site.model import Site, Soffit
from tests import worlds

OVERHEAD = ("head gap", "overhead clearance")


def planned(*ducts: tuple[float, float, float, float]) -> tuple[Site, Plan]:
    """A yard driven from west to east under ducts, all high enough, whose level nobody measured."""
    soffits = (Soffit(f"duct-{n}", box(*duct), "duct", None, 6.0, 0.0, 0.0, None, "S1") for n, duct in enumerate(ducts))
    site = worlds.flat_site(
        30.0, 20.0, machines=(worlds.scissor(),), moves=(worlds.wanted("SC", "west", "east"),), soffits=tuple(soffits),
        places=(worlds.place("west", 5.0, 5.0), worlds.place("east", 25.0, 5.0)),
    )  # fmt: skip
    return site, plan_site(site, issued="2026-11-25T12:00:00+00:00")


def overhead(plan: Plan) -> list[Check]:
    return [check for check in plan.moves[0].checks if check.kind in OVERHEAD]


def test_one_far_from_the_way_leaves_nothing_open() -> None:
    site, plan = planned((14.0, 15.0, 16.0, 19.0))
    assert plan.moves[0].verdict == "pass" and not any(check.assumed for check in overhead(plan))
    assert not recheck_plan(plan, site=site)[plan.moves[0].id]


def test_one_on_the_straight_line_is_driven_round() -> None:
    site, plan = planned((14.0, 0.0, 16.0, 8.0))
    assert plan.moves[0].verdict == "pass" and max(pose.y for pose in plan.moves[0].poses) > 8.0
    assert not recheck_plan(plan, site=site)[plan.moves[0].id]


def test_one_that_cannot_be_driven_round_leaves_both_checks_open_and_is_named() -> None:
    site, plan = planned((14.0, 0.0, 16.0, 20.0), (14.0, 17.0, 16.0, 20.0))
    assert plan.moves[0].verdict == "not proven"
    for check in overhead(plan):
        assert check.verdict == "not proven"
        assert check.assumed == ("soffit duct-0 has no accuracy: measure it and say how far off it may be",)
        assert check.place[0] == pytest.approx(15.0, abs=4.0) and check.margin > 1.0
    assert not recheck_plan(plan, site=site)[plan.moves[0].id]
