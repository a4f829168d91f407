"""A way that only a finer lattice can drive is driven; where even that one finds none, the words say both grids."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
from shapely.geometry import LineString, box

from routeplan.hazards.prepare import Hazards
from routeplan.plan import finer
from routeplan.plan import move as move_module
from routeplan.plan.finer import FINE, Look, part_of
from routeplan.plan.whole import plan_site
from routeplan.route.model import Move
from routeplan.site.model import GridSpec, Obstacle, Site
from tests import worlds
from tests.test_completeness import drawn_site


def bent(width_m: float) -> Site:
    """A thick wall with a lane through it that is bent twice, off the nodes of a lattice of half a metre."""
    lane = LineString([(5, 10.1), (15.2, 10.1), (15.2, 16.3), (25, 16.3)])
    wall = box(8, -1, 22, 27) - shapely.buffer(lane, width_m / 2, join_style="mitre", cap_style="square")
    site = worlds.flat_site(
        30.0, 26.0, machines=(worlds.scissor(pivots=1.0),), moves=(worlds.wanted("SC", "w", "e"),),
        places=(worlds.place("w", 4.0, 10.0), worlds.place("e", 26.0, 16.25)),
        obstacles=(Obstacle("bent", wall, "wall", None),),
    )  # fmt: skip
    return replace(site, grid=GridSpec(cell_m=0.5, headings=16))


def planned(site: Site) -> Move:
    return plan_site(site, issued="2026-11-24T12:00:00+00:00").moves[0]


def test_a_bent_lane_is_driven_after_a_finer_look(monkeypatch: pytest.MonkeyPatch) -> None:
    move = planned(bent(3.0))
    assert move.verdict in ("pass", "pass with controls") and move.refused is None, move.reason
    assert move.bound >= move.cost_m / move.best_possible_m > 1.0
    monkeypatch.setattr(move_module, "look_finer", lambda *args, **given: Look(None, 0, 0, ""))
    assert planned(bent(3.0)).verdict == "no route", "the coarse lattice alone drives it: this test shows nothing"


def test_a_lane_too_narrow_is_told_with_both_grids() -> None:
    move = planned(bent(2.2))
    assert move.verdict == "no route"
    assert "0.50 m and 16 headings" in move.reason and "0.08 m and 32 headings" in move.reason


def test_a_finer_look_that_gives_up_proves_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(move_module, "look_finer", lambda *args, **given: Look(None, 2, 1, "0.08 m and 32 headings"))
    assert planned(bent(2.2)).verdict == "search limit"


def test_ways_that_pass_at_a_glance_and_were_not_refuted_prove_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    site = drawn_site(8, rough=True)
    monkeypatch.setattr(finer, "LOOKS", ((None, 1), (FINE, 0)))
    assert planned(site).verdict == "search limit"
    monkeypatch.setattr(finer, "LOOKS", ((FINE, 0),))
    assert planned(site).verdict == "no route", "the finer lattice alone is not exhausted: this test shows nothing"


@pytest.mark.parametrize("bearing_deg", [None, 100.0])
def test_where_the_machine_may_stand_is_looked_at_closer_before_it_is_told_that_it_may_not(
    monkeypatch: pytest.MonkeyPatch, bearing_deg: float | None
) -> None:
    site = drawn_site(86, rough=True)
    site = replace(site, places={**site.places, "e": replace(site.places["e"], bearing_deg=bearing_deg)})
    move = planned(site)
    assert move.verdict == "pass" and move.refused is None, move.reason
    goal, end = site.places["e"], move.poses[-1]
    assert goal.point.distance(shapely.Point(end.x, end.y)) <= goal.tolerance_m
    assert bearing_deg is None or end.bearing_deg == pytest.approx(bearing_deg)
    monkeypatch.setattr(Hazards, "closer", lambda hazards: hazards)
    assert "cannot stand at e" in planned(site).reason, "the bounds at stances do: this test shows nothing"


def test_a_part_of_a_site_keeps_its_levels_where_they_were() -> None:
    site = bent(3.0)
    part = part_of(site, box(3.3, 4.4, 9.9, 11.1), FINE)
    assert part is not None
    assert (part.ground.x_min, part.ground.y_min) == (3.0, 4.0), "on the nodes of the site's own lattice"
    assert part.ground.z.shape == (30, 29)
    assert part.boundary.bounds == (3.3, 4.4, 9.9, 11.1)
    assert part_of(site, box(-9.0, -9.0, -8.0, -8.0), FINE) is None
