"""Small invented sites planned whole: each safety rule of the search turns a drivable way into another verdict."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from shapely.geometry import Point, box

from routeplan.plan.whole import plan_site
from routeplan.route import Move
from routeplan.site.model import Acceptance, Area, Defect, Excavation, LineCorridor, Obstacle, Soffit, Surface, Walkway
from tests.worlds import boom, flat_site, place, scissor, wanted

ISSUED = "2026-11-24T12:00:00+00:00"
ACROSS = box(14.0, -1.0, 15.0, 21.0)


def planned(*, machine: str = "SC", **layers: Any) -> Move:
    """The one move from west to east over a yard of 30 x 20 m."""
    site = flat_site(
        30.0, 20.0, machines=(scissor(), boom()), places=(place("w", 5.0, 10.0), place("e", 23.0, 10.0)),
        moves=(wanted(machine, "w", "e"),), **layers,
    )  # fmt: skip
    return plan_site(site, issued=ISSUED).moves[0]


def test_open_ground_is_driven_and_accepted_by_the_second_opinion() -> None:
    move = planned()
    assert (move.verdict, move.refused) == ("pass", None)
    assert 18.0 <= move.length_m < 21.0


BARS: dict[str, dict[str, Any]] = {
    "wall": {"obstacles": (Obstacle("wall", ACROSS, "wall", None),)},
    "low soffit": {"soffits": (Soffit("beam", ACROSS, "beam", 2.6, None, 0.0, 0.0, 0.005, "S1"),)},
    "trench": {"defects": (Defect("t", "trench", ACROSS, 1.0, 0.5, 0.0, "open"),)},
    "cover": {"defects": (Defect("c", "cover", ACROSS, 1.0, 0.0, 0.0, None),)},
    "high kerb": {"defects": (Defect("k", "kerb", ACROSS, 1.0, 0.0, 0.08, None),)},
    "deep hole": {"defects": (Defect("h", "pothole", ACROSS, 1.0, 0.20, 0.0, None),)},
    "overhead line": {"line_corridors": (LineCorridor("l", ACROSS, 3.0),)},
    "excavation": {"excavations": (Excavation("x", ACROSS, 1.0),)},
    "unaccepted ground": {"surfaces": (
        Surface("yard", box(0, 0, 30, 20), "stone", Acceptance("engineer", dt.date(2026, 11, 1), 50_000.0)),
        Surface("soft", ACROSS, "fill", None),
    )},
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(BARS))
def test_what_bars_the_yard_from_side_to_side_leaves_no_way(name: str) -> None:
    assert planned(**BARS[name]).verdict == "no route"


def test_a_closed_area_bars_only_while_it_is_closed() -> None:
    closed = Area("a", "a", ACROSS, ((dt.date(2026, 12, 1), dt.date(2026, 12, 2)),))
    never = Area("a", "a", ACROSS, ())
    assert planned(areas=(closed,)).verdict == "no route"
    assert planned(areas=(never,)).verdict == "pass"


def test_a_walkway_is_crossed_with_a_hold_point() -> None:
    move = planned(walkways=(Walkway("p", ACROSS, "pedestrians"),))
    assert (move.verdict, move.refused, len(move.holds)) == ("pass with controls", None, 1)


def test_a_hole_throws_the_boom_where_it_lets_the_scissor_by() -> None:
    hole = (Defect("h", "pothole", Point(14.0, 10.0).buffer(0.3), 0.6, 0.06, 0.0, None),)
    low, high = box(13.0, -1.0, 15.0, 7.0), box(13.0, 13.0, 15.0, 21.0)
    walls = (Obstacle("s", low, "wall", None), Obstacle("n", high, "wall", None))
    assert planned(obstacles=walls, defects=hole).verdict == "pass"
    assert planned(machine="TB", obstacles=walls).verdict == "pass"
    assert planned(machine="TB", obstacles=walls, defects=hole).verdict == "no route"
