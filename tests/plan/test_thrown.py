"""Where a machine rocks so that its basket is thrown even at creep, another way is driven, or none."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import LineString, box

from routeplan.plan import move as move_module
from routeplan.plan.speeds import FIGURES
from routeplan.plan.swing import SWING
from routeplan.plan.thrown import kept_off, rocking_m
from routeplan.plan.whole import plan_site
from routeplan.route.model import Move
from routeplan.search.anchors import Anchor
from routeplan.site.model import GridSpec, Obstacle, Site, Thresholds
from tests.recheck.drives import opinion
from tests.search.windows import lattice_of
from tests.worlds import boom, flat_site, place, wanted

ISSUED = "2026-11-24T12:00:00+00:00"
BOUNCE: dict[str, Any] = dict(zip(FIGURES, (0.5, 10.0, 0.5, 0.2), strict=True))
EAST_M, NORTH_M, RISE_M = 44.0, 40.0, 0.25


def banked(*, wide: bool = True) -> Site:
    """A yard with a bank from south to north, which the straight way crosses askew; its ends lie in a lane on that way,
    with no room to turn square to the bank, where it is not ``wide``.
    """
    y, x = np.mgrid[0.0 : NORTH_M + 0.1 : 0.25, 0.0 : EAST_M + 0.1 : 0.25]
    z: NDArray[np.float64] = RISE_M * np.clip((x - 17.0) / 5.0, 0.0, 1.0) + 0.0 * y
    lane = LineString([(2.0, -2.0), (46.0, 42.0)]).buffer(2.5)
    walls = () if wide else box(0.0, 0.0, EAST_M, NORTH_M).difference(lane).geoms
    return flat_site(
        EAST_M, NORTH_M, z=z, machines=(boom("TB", oscillating=None, **BOUNCE),),
        thresholds=Thresholds(bounce_limit_m=0.22), grid=GridSpec(cell_m=0.5),
        places=(place("w", 7.5, 3.5, 45.0), place("e", 31.0, 27.0, 45.0)), moves=(wanted("TB", "w", "e"),),
        obstacles=tuple(Obstacle(f"w{n}", wall, "wall", None) for n, wall in enumerate(walls)),
    )  # fmt: skip


def planned(site: Site) -> Move:
    return plan_site(site, issued=ISSUED).moves[0]


def test_another_way_is_driven_where_the_straight_one_throws_the_basket(monkeypatch: pytest.MonkeyPatch) -> None:
    round_it = planned(banked())
    assert round_it.verdict in ("pass", "pass with controls") and round_it.refused is None, round_it.reason
    monkeypatch.setattr(move_module, "ROCKS_LESS", ())
    straight = planned(banked())
    assert straight.verdict == "fail" and straight.refused is not None
    assert {found.kind for found in straight.refused.objections} == {SWING}
    assert round_it.cost_m > straight.cost_m and round_it.best_possible_m == straight.best_possible_m
    assert round_it.bound == pytest.approx(round_it.cost_m / round_it.best_possible_m) and round_it.bound > 1.0


def test_where_no_other_way_is_found_the_first_is_not_given_to_drive() -> None:
    site = banked(wide=False)
    move = planned(site)
    assert move.verdict == "fail" and not move.poses and move.refused is not None
    driven = replace(move, poses=move.refused.poses, verdict="not proven", refused=None)
    assert SWING in {found.kind for found in opinion(driven, site)}, "the second opinion lets it be driven"


def test_a_lattice_is_afterwards_what_it_was_before() -> None:
    site = banked()
    lattice = lattice_of(site, site.machines["TB"])
    lattice.add_anchor(Anchor(14.1, 12.1, 0.1))
    before, links = lattice.table.copy(), list(lattice.links)
    thrown = np.array([[17.0, 12.0, 0.0]])
    with kept_off([lattice], thrown, 0.5):
        assert (lattice.table != before).any() and 0 < len(lattice.links) < len(links)
    np.testing.assert_array_equal(lattice.table, before)
    assert lattice.links == links


def test_what_parts_the_planes_is_told_by_the_levels_under_the_wheels() -> None:
    """At 45 degrees over the foot one front wheel is on the bank; square to it none is higher than its neighbour."""
    lattice = lattice_of(banked(), banked().machines["TB"])
    x, y, heading = np.array([[16.0, 12.0, 0.0], [15.5, 12.0, math.pi / 4], [16.0, 12.0, math.pi / 2]]).T
    front_right_m = 15.5 + (2.5 + 2.05 / 2) / math.sqrt(2.0) - 17.0
    assert rocking_m(lattice.hazards, x, y, heading) == pytest.approx(
        [0.0, RISE_M / 5.0 * front_right_m, 0.0], abs=1e-9
    )  # fmt: skip
