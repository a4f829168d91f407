"""Small invented sites planned whole: each safety rule of the search turns a drivable way into another verdict."""

from __future__ import annotations

import datetime as dt
import math
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from shapely.geometry import Point, box

from routeplan.hazards.arrays import CLEARANCE, COMBINED, GRADE, HEAD, LEVELS, OVERHEAD, SIDE_SLOPE, STRIKE, WALKWAY
from routeplan.hazards.ground import OUT
from routeplan.hazards.sweep import FAR
from routeplan.plan.frontier import shortfalls_mm
from routeplan.plan.whole import plan_site
from routeplan.route.model import Move
from routeplan.site.model import Acceptance, Area, Defect, Excavation, LineCorridor, Obstacle, Soffit, Surface, Walkway
from tests.worlds import ROUGH, boom, flat_site, place, scissor, wanted

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
        Surface("yard", box(0, 0, 30, 20), "stone", Acceptance("engineer", dt.date(2026, 11, 1), 50_000.0),
                friction=ROUGH),
        Surface("soft", ACROSS, "fill", None),
    )},
}  # fmt: skip


#: What each bar is named by where the way ends.
NAMED = {
    "wall": "side clearance",
    "low soffit": "head gap",
    "trench": "covers, plates and trenches",
    "cover": "covers, plates and trenches",
    "high kerb": "step",
    "deep hole": "bounce rise",
    "overhead line": "overhead lines",
    "excavation": "excavation edge",
    "unaccepted ground": "surface acceptance",
}


@pytest.mark.parametrize("name", sorted(BARS))
def test_what_bars_the_yard_from_side_to_side_leaves_no_way_and_is_named(name: str) -> None:
    move = planned(**BARS[name])
    assert move.verdict == "no route"
    for miss in move.nearest_misses:
        assert f"{NAMED[name]} is short by" in miss.text
        assert miss.text.startswith(miss.kind) and miss.short_mm > 0.0
        assert Point(miss.place).distance(ACROSS) <= 2.0
    places = [miss.place for miss in move.nearest_misses]
    assert len(places) == 3 and all(math.dist(*pair) >= 3.0 for pair in combinations(places, 2))
    assert places[0][1] == pytest.approx(10.0), "the bar is alike from side to side: straight ahead comes first"


def test_a_band_that_nobody_surveyed_is_named_and_comes_after_whatever_is_known() -> None:
    z = np.zeros((81, 121))
    z[:, 56:61] = np.nan
    assert [miss.kind for miss in planned(z=z).nearest_misses] == 3 * ["levels known"]
    z[28:53, 56:61] = 0.0
    soffit = Soffit("s", box(13.0, 7.0, 16.0, 13.0), "beam", None, 2.6, 0.0, 0.0, 0.005, "S1")
    first, *others = planned(z=z, soffits=(soffit,)).nearest_misses
    assert first.kind == "head gap" and abs(first.place[1] - 10.0) < 3.0
    assert {miss.kind for miss in others} <= {"head gap", "levels known"}


@pytest.mark.parametrize(("kind", "margin"), [(STRIKE, -1.0), (HEAD, -math.inf), (OVERHEAD, -math.inf)])
def test_what_is_measured_from_an_unknown_level_lacks_the_level(kind: int, margin: float) -> None:
    margins = np.full((1, OUT), FAR)
    margins[0, kind] = margin
    short = shortfalls_mm(margins, scissor())[0]
    assert short[LEVELS] == 1000.0 and np.flatnonzero(short).tolist() == [LEVELS]


def test_shortfalls_in_millimetres() -> None:
    """Slopes as a rise: 1 deg short over a wheelbase of 1.85 m and a track of 0.70 m (exact)."""
    margins = np.full((1, OUT), FAR)
    margins[0, [GRADE, SIDE_SLOPE, COMBINED, STRIKE, CLEARANCE, WALKWAY]] = -1.0, -1.0, -0.1, 0.001, -0.25, -1.0
    short = shortfalls_mm(margins, scissor())[0]
    rise_mm = 1000.0 * math.tan(math.radians(1.0))
    expected = {GRADE: 1.85 * rise_mm, SIDE_SLOPE: 0.70 * rise_mm, COMBINED: 46.25, STRIKE: 1.0, CLEARANCE: 250.0}
    assert {kind: short[kind] for kind in np.flatnonzero(short)} == pytest.approx(expected)


def test_a_gap_too_narrow_is_named_before_the_walls_and_by_what_it_lacks() -> None:
    """Half of what the scissor wants: 0.405 m of body, 0.15 m aside and 2.13 m sin(2 deg) of tube, 0.5 m to occupied
    parts; half the gap is 1.1 m.
    """
    walls = [Obstacle(f"w{y}", box(14.0, y, 15.0, y + 19.9), "wall", None) for y in (-11.0, 11.1)]
    move = planned(obstacles=tuple(walls))
    first, *others = move.nearest_misses
    assert (move.verdict, first.kind) == ("no route", "side clearance")
    short_mm = 405.0 + 150.0 + 2130.0 * math.sin(math.radians(2.0)) + 500.0 - 1100.0
    assert first.short_mm == pytest.approx(short_mm, abs=0.1)
    assert Point(first.place).distance(Point(14.5, 10.0)) < 3.0
    assert first.text == f"side clearance is short by {math.ceil(first.short_mm)} mm here"
    assert others and all(miss.short_mm >= 500.0 and miss.text.endswith(" or more here") for miss in others)


def test_a_lane_too_narrow_to_turn_in_is_named_where_the_turn_breaks_off() -> None:
    """The boom may stand everywhere along the lane and come to its far end, but not turn round there."""
    site = flat_site(
        40.0, 8.0, machines=(boom(),), places=(place("w", 8.0, 4.0, 90.0), place("e", 24.0, 4.0, 270.0)),
        moves=(wanted("TB", "w", "e"),),
    )  # fmt: skip
    (move,) = plan_site(site, issued=ISSUED).moves
    assert move.verdict == "no route"
    assert {miss.kind for miss in move.nearest_misses} == {"side clearance"}
    assert all(miss.short_mm > 0.0 for miss in move.nearest_misses)
    assert min(abs(miss.place[0] - 24.0) for miss in move.nearest_misses) < 5.0


def test_a_closed_area_bars_only_while_it_is_closed() -> None:
    closed = Area("a", "a", ACROSS, ((dt.date(2026, 12, 1), dt.date(2026, 12, 2)),))
    never = Area("a", "a", ACROSS, ())
    barred = planned(areas=(closed,))
    assert (barred.verdict, {miss.kind for miss in barred.nearest_misses}) == ("no route", {"closed areas"})
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
