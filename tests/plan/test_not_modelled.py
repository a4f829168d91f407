"""A machine whose steering nobody has modelled is never planned, and says so in every check."""

from __future__ import annotations

from dataclasses import replace

import pytest

from routeplan.machine.read import build_machine
from routeplan.plan.whole import plan_site
from routeplan.recheck.opinion import recheck_plan
from routeplan.route.model import Pose
from tests import worlds


@pytest.mark.parametrize(("class_id", "why"), [
    ("trailer-boom-17m", "steering not modelled: towed"), ("vehicle-boom-20m", "steering not modelled: road"),
])
def test_what_is_not_modelled_is_not_proven(class_id: str, why: str) -> None:
    machine = build_machine("M", {"class": class_id}, where="test")
    site = worlds.flat_site(
        30.0, 20.0, machines=(machine,), moves=(worlds.wanted("M", "w", "e", travel_mode="beside_rails_up"),),
        places=(worlds.place("w", 5.0, 10.0), worlds.place("e", 23.0, 10.0)),
    )  # fmt: skip
    plan = plan_site(site, issued="2026-11-24T12:00:00+00:00")
    (move,) = plan.moves
    assert (move.verdict, move.reason, move.poses) == ("not proven", why, ())
    assert move.checks and all(check.verdict == "not proven" and check.assumed == (why,) for check in move.checks)
    assert not recheck_plan(plan, site=site)["M1"]
    passed = replace(plan, moves=(replace(move, verdict="pass"),))
    assert recheck_plan(passed, site=site)["M1"], "a machine that nobody has modelled passes nothing"
    start = Pose(5.0, 10.0, 90.0, 1, "beside_rails_up", "front", "stowed", 0.5, 0.0)
    driven = replace(move, verdict="pass", poses=(start,))
    assert recheck_plan(replace(plan, moves=(driven,)), site=site)["M1"], "nor has it rows to drive"
