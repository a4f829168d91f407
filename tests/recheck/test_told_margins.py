"""Margins that a plan tells: refused where they are larger than what the second opinion finds, check by check."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path
from typing import Any

import pytest

from routeplan.recheck.ledger import CATALOGUE, Ledger
from routeplan.recheck.opinion import look, recheck_plan
from routeplan.recheck.verdicts import BOUNDED_APART, TOLD
from routeplan.route.model import Check, Objection, Plan
from routeplan.site.model import Site
from tests.plan.test_settle import DECK
from tests.plan.yards import NORTH_M, planned, row
from tests.site.folders import feature, polygon

#: Looked at wherever a machine goes.
ALWAYS = {"gradeability", "side slope", "combined slope", "side clearance", "grip", "levels known", "survey resolution"}
#: Drives that pass, each with what the second opinion looks at closely besides.
YARDS: dict[str, tuple[dict[str, Any], set[str]]] = {
    "deck": (DECK | {"bands": [{"bearing_by": "engineer", "wheel_limit_kn": 40.0}]}, {"ground load"}),
    "sill": (
        {"defects": [feature(polygon(11.9, 0, 12.1, NORTH_M), id="sill", kind="sill", height_m=0.01)]},
        {"step", "kerb angle", "kerb side slope"},
    ),
    "lump": (
        {"defects": [feature(polygon(11.95, 1.48, 12.05, 1.52), id="lump", kind="sill", height_m=0.02)]},
        {"ground strike"},
    ),
    "face": ({"rise": 0.02, "kind": "workface"}, {"set-up tilt"}),
}  # fmt: skip


def told(plan: Plan, site: Site, kind: str, **change: Any) -> tuple[Objection, ...]:
    """What the second opinion says of the plan with one row changed."""
    (move,) = plan.moves
    checks = tuple(dataclasses.replace(one, **change) if one.kind == kind else one for one in move.checks)
    return recheck_plan(dataclasses.replace(plan, moves=(dataclasses.replace(move, checks=checks),)), site=site)["M1"]


def largest(check: Check, ledger: Ledger) -> float:
    """The largest margin that a row may tell with its own sigma."""
    doubt = ledger.k * check.sigma if CATALOGUE[check.kind].surveyed else 0.0
    return ledger.least_slack[check.kind].slack + doubt + TOLD


@pytest.mark.parametrize("name", YARDS)
def test_a_margin_larger_than_what_is_found_is_refused(name: str, tmp_path: Path) -> None:
    """A hair more than the tolerance is, a hair less is not; nor is what the planner told."""
    yard, looked_at = YARDS[name]
    site, plan = planned(tmp_path, **yard)
    (move,) = plan.moves
    assert move.verdict in ("pass", "pass with controls") and not any(recheck_plan(plan, site=site).values())
    ledger = look(move, site=site, machine=site.machines["SC"], conditions=plan.conditions).ledger
    assert ALWAYS | looked_at <= set(ledger.least_slack)
    for kind in set(ledger.least_slack) - BOUNDED_APART:
        most = largest(row(plan, kind), ledger)
        assert told(plan, site, kind, margin=most - 1e-6) == ()
        (found,) = told(plan, site, kind, margin=most + 1e-6)
        assert found.kind == kind and "to spare beyond k sigma" in found.text


def test_no_sigma_hides_a_margin_and_a_pass_tells_one(tmp_path: Path) -> None:
    """Of a check that the survey has no part in there is none to take off; what is not known is no pass."""
    site, plan = planned(tmp_path, **YARDS["sill"][0])
    (found,) = told(plan, site, "step", margin=5.0, sigma=10.0)
    assert found.value == 5.0 and found.limit < 0.1
    for change in ({"margin": math.nan}, {"sigma": math.nan}, {"margin": math.inf}):
        objections = told(plan, site, "gradeability", **change)
        assert any("tells no margin" in one.text for one in objections)


def test_an_open_row_tells_no_more_either(tmp_path: Path) -> None:
    site, plan = planned(tmp_path, **YARDS["sill"][0])
    (move,) = plan.moves
    for margin, refused in ((row(plan, "step").margin, False), (0.5, True)):
        checks = tuple(
            dataclasses.replace(one, verdict="not proven", margin=margin) if one.kind == "step" else one
            for one in move.checks
        )  # fmt: skip
        opened = dataclasses.replace(move, checks=checks, verdict="not proven")
        found = recheck_plan(dataclasses.replace(plan, moves=(opened,)), site=site)["M1"]
        assert ("step" in {one.kind for one in found}) is refused
