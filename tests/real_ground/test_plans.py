"""The whole pipeline on real ground: what nobody vouches for is not proven; steep ground is a barrier with a name."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
from shapely.geometry import Point

from routeplan.cli.main import main
from routeplan.errors import ExitStatus
from routeplan.planfile.plan import read_plan
from routeplan.recheck.opinion import recheck_plan
from routeplan.route.model import Plan
from routeplan.site.model import Site
from routeplan.site.read import read_site
from tests.data_fetch import DataFile, fetch_or_skip
from tests.real_ground import sites

Planned = tuple[int, Plan, Site]


def planned(folder: Path, build: Callable[[Path, Mapping[str, bytes]], Any], files: tuple[DataFile, ...]) -> Planned:
    """Exit status, plan and site of a site folder built from fetched files."""
    build(folder / "site", fetch_or_skip(files))
    status = main(["plan", str(folder / "site"), "--out", str(folder / "out"), "--issued", "2026-11-24T12:00:00+00:00"])
    return status, read_plan(folder / "out" / "plan.json"), read_site(folder / "site")


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> Planned:
    return planned(tmp_path_factory.mktemp("town"), sites.town_site, sites.TOWN_FILES)


@pytest.fixture(scope="module")
def hill(tmp_path_factory: pytest.TempPathFactory) -> Planned:
    return planned(tmp_path_factory.mktemp("hill"), sites.hill_site, sites.HILL_FILES)


@pytest.mark.parametrize("move_id", ["T1", "T2", "T3"])
def test_a_town_move_is_driven_but_not_proven(town: Planned, move_id: str) -> None:
    status, plan, _ = town
    move = next(move for move in plan.moves if move.id == move_id)
    assert move.verdict == "not proven", move.reason
    assert move.poses and move.refused is None
    rows = {check.kind: check for check in move.checks}
    assert not [check for check in move.checks if check.margin < 0.0]
    assert any("accuracy" in text and "assumed" in text for text in rows["gradeability"].assumed)
    assert any("class figure" in text or "memory figure" in text for text in rows["side slope"].assumed)
    assert any("soffits" in text for text in rows["head gap"].assumed)
    assert status == ExitStatus.NOT_PASSED


def test_the_second_opinion_agrees_on_the_town(town: Planned) -> None:
    _, plan, site = town
    assert {move: found for move, found in recheck_plan(plan, site=site).items() if found} == {}


def test_steep_ground_is_no_route_with_its_barrier_named(hill: Planned) -> None:
    status, plan, site = hill
    (move,) = plan.moves
    assert move.verdict == "no route", move.reason
    assert not move.poses and status == ExitStatus.NO_ROUTE
    assert move.nearest_misses
    slopes = {"gradeability", "side slope", "combined slope", "ground strike"}
    assert any(miss.kind in slopes for miss in move.nearest_misses), move.nearest_misses
    start, goal = site.places["top-west"].point, site.places["top-east"].point
    assert all(miss.short_mm > 0.0 for miss in move.nearest_misses)
    assert any(Point(miss.place).distance(goal) < start.distance(goal) for miss in move.nearest_misses)
