"""Ways on foot to a machine's ground controls: lengths and widths by hand, and each thing that is kept clear of."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import numpy as np
import pytest
from shapely.geometry import Point, Polygon, box

from routeplan.plan.on_foot import ARM_M, CELL_M, WIDTH_M, to_ground_controls
from routeplan.route.lifelines import OnFoot
from routeplan.site.model import Area, Defect, Excavation, Obstacle
from tests import worlds

EAST_M, NORTH_M = 20.0, 10.0
DAY = dt.date(2026, 12, 1)
GATE = ("gate", Point(2.0, 5.0))
#: The machine stands in the east, chassis and all.
STANDS = box(14.0, 4.0, 16.4, 6.0)


def on_foot(
    standing: Polygon = STANDS, chassis: Polygon | None = None, *, day: dt.date | None = DAY, **layers: Any
) -> tuple[OnFoot | None, str]:
    """The way from the gate in the west, and what is in the way where there is none."""
    site = worlds.flat_site(EAST_M, NORTH_M, **layers)
    return to_ground_controls(
        site, day, standing=standing, chassis=chassis or standing, name="SC", starts=[GATE]
    )


def wall(gap_m: float, north_m: float = 5.0) -> tuple[Obstacle, ...]:
    """A wall across the yard with a gap."""
    low, high = north_m - gap_m / 2, north_m + gap_m / 2
    parts = box(8.0, 0.0, 8.2, low), box(8.0, high, 8.2, NORTH_M)
    return tuple(Obstacle(f"w{n}", part, "wall", None) for n, part in enumerate(parts))


def across(x: float = 8.0, wide_m: float = 1.0) -> Polygon:
    """From the south of the yard to its north."""
    return box(x, 0.0, x + wide_m, NORTH_M)


def test_on_open_ground_it_is_the_straight_line_to_an_arms_length() -> None:
    way, none = on_foot()
    assert way is not None and not none and way.start == "gate"
    assert way.length_m == pytest.approx(14.0 - ARM_M - 2.0, abs=2.0 * CELL_M)


@pytest.mark.parametrize("gap_m", [1.1, 1.15, 1.5, 2.4])
def test_the_narrowest_place_is_told_and_never_too_wide(gap_m: float) -> None:
    way, _ = on_foot(obstacles=wall(gap_m))
    assert way is not None
    assert min(gap_m, 2.0 * ARM_M) - 4.0 * CELL_M < way.narrowest_m <= gap_m
    if gap_m < 2.0 * ARM_M:  # else it is as narrow beside the machine
        assert math.dist(way.narrowest_at, (8.1, 5.0)) < 0.6


def test_round_a_corner_it_is_longer_by_what_the_corner_takes() -> None:
    """Two straight lines over the middle of a gap; eight directions make it at most 8.3 % longer."""
    way, _ = on_foot(obstacles=wall(1.2, north_m=8.5))
    straight_m = math.dist((2.0, 5.0), (8.1, 8.5)) + math.dist((8.1, 8.5), (14.0, 6.0)) - ARM_M
    assert way is not None
    assert straight_m - 1.0 < way.length_m < 1.083 * straight_m + 2.0 * CELL_M


def test_a_gap_narrower_than_a_person_wants_is_none() -> None:
    way, none = on_foot(obstacles=wall(WIDTH_M - 0.05))
    assert way is None
    assert none == "no way 0.75 m wide on foot to the ground controls of SC; in the way: wall w0, wall w1"


def _trench(state: str | None) -> Defect:
    return Defect("t1", "trench", across(), 1.0, 0.8, 0.0, state)


def _area(day: dt.date) -> Area:
    return Area("a1", "Area", across(), ((day, day),))


@pytest.mark.parametrize(
    ("layers", "words"),
    [
        ({"obstacles": (Obstacle("o1", across(), "stack", 0.3),)}, "stack o1"),
        ({"obstacles": (Obstacle("o1", across(8.04, 0.02), "fence", None),)}, "fence o1"),
        ({"excavations": (Excavation("e1", across(), 1.0),)}, "excavation e1"),
        ({"defects": (_trench("open"),)}, "trench t1"),
        ({"defects": (_trench(None),)}, "trench t1"),
        ({"areas": (_area(DAY),)}, "closed area a1"),
    ],
)
def test_people_keep_clear_of_it(layers: dict[str, Any], words: str) -> None:
    way, none = on_foot(**layers)
    assert way is None and none.endswith(f"in the way: {words}")


def test_what_is_open_or_filled_is_walked_over() -> None:
    assert on_foot(areas=(_area(DAY + dt.timedelta(days=1)),))[0] is not None
    assert on_foot(areas=(_area(DAY),), day=None)[0] is None, "with no day, whether it ever is"
    assert on_foot(defects=(_trench("resurfaced"),))[0] is not None


def test_nobody_walks_where_nobody_knows_the_ground() -> None:
    levels = np.zeros((round(NORTH_M / 0.25) + 1, round(EAST_M / 0.25) + 1))
    levels[:, 32:37] = np.nan
    way, _ = on_foot(z=levels)
    assert way is None


def test_the_machine_itself_is_in_the_way() -> None:
    """Its boom lies in the only door of the room that its chassis stands in."""
    standing = box(6.0, 4.6, 16.4, 5.4)
    way, none = on_foot(standing, box(12.0, 4.6, 16.4, 5.4), obstacles=wall(1.5))
    assert way is None and "SC" in none.split("in the way: ")[1]
    assert on_foot(standing, box(12.0, 4.6, 16.4, 5.4), obstacles=wall(4.0))[0] is not None


def test_where_nobody_can_stand_beside_the_chassis_it_is_said() -> None:
    pen = tuple(
        Obstacle(f"p{n}", part, "wall", None)
        for n, part in enumerate([box(13.5, 3.5, 17.0, 3.8), box(13.5, 6.2, 17.0, 6.5), box(13.5, 3.5, 13.8, 6.5),
                                  box(16.6, 3.5, 17.0, 6.5)])
    )  # fmt: skip
    way, none = on_foot(obstacles=pen, chassis=box(14.4, 4.4, 16.0, 5.6))
    assert way is None and none == "nobody can stand beside the chassis of SC: there is no spot 0.75 m wide"
