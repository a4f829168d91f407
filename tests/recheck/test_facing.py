"""Orientation decides the rating and facing does not; what a plan says of both is held against rows and ground."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from shapely.geometry import box

from routeplan.recheck.opinion import second_opinion
from routeplan.route.model import Conditions, Pose, Stand
from routeplan.site.model import Soffit, Thresholds
from tests import worlds
from tests.recheck.drives import certain, drive, kinds, move_of, opinion, with_stands, yard_for

BARE = Thresholds(lateral_tolerance_m=0.0, heading_tolerance_deg=0.0)
#: 30 % with the platform downhill, 20 % with it uphill, 25 % to the side.
RATED = worlds.boom(
    gradeability_basket_downhill_pct=30.0, gradeability_basket_uphill_pct=20.0, side_slope_pct=25.0, oscillating=None
)


def east(gear: int, heading: float) -> tuple[Pose, ...]:
    """Two metres along the line north 15 m, its chassis arrow to the east (0) or west, along it or against it."""
    way = gear * math.cos(heading)
    return drive(20.0 - way, 15.0, heading, [(gear * 2.0, 0.0)], step_m=0.05)


def fails(pct: float, *, gear: int, heading: float, across: bool = False) -> set[str]:
    """What the second opinion has against a slope up to the east, or to the north, in percent."""
    y, x = np.mgrid[0:121, 0:161] * 0.25
    poses = east(gear, heading)
    site = yard_for(poses, RATED, z=pct / 100.0 * (y if across else x), thresholds=BARE)
    return kinds(opinion(move_of(poses, RATED), certain(site)))


@pytest.mark.parametrize("gear", [1, -1])
def test_the_30_20_25_machine_flips_with_orientation_and_not_with_gear(gear: int) -> None:
    """The basket lies beyond the arrow: arrow east is basket uphill, rated 20 %; arrow west downhill, rated 30 %."""
    uphill: dict[str, Any] = {"gear": gear, "heading": 0.0}
    downhill: dict[str, Any] = {"gear": gear, "heading": math.pi}
    assert "gradeability" not in fails(19.9, **uphill) and "gradeability" in fails(20.1, **uphill)
    assert "gradeability" not in fails(29.9, **downhill) and "gradeability" in fails(30.1, **downhill)
    assert "gradeability" in fails(25.0, **uphill) and "gradeability" not in fails(25.0, **downhill)
    for way in (uphill, downhill):
        assert "side slope" not in fails(24.9, **way, across=True) and "side slope" in fails(25.1, **way, across=True)


def test_a_soffit_passes_with_the_basket_trailing_and_fails_with_it_leading() -> None:
    """It drives up to 7.1 m short of a low beam's far side: only the basket, when it leads, comes under the beam.

    Head 2.5 m up; the beam 2.6 m up leaves 0.1 m of 0.3 m. Trailing, the body ends 1.7 m behind the axle in front.
    """
    beam = Soffit("beam", box(24.0, 10.0, 25.0, 20.0), "beam", 2.6, None, 0.0, 0.0, 1e-9, "S1")
    for gear, heading, found in ((-1, math.pi, set()), (1, 0.0, {"head gap", "basket swing"})):
        poses = east(gear, heading)
        assert poses[-1].x == pytest.approx(21.0)
        site = yard_for(poses, RATED, soffits=(beam,), thresholds=BARE)
        assert kinds(opinion(move_of(poses, RATED), certain(site))) == found


UP = Stand(0.0, 2.0, "basket end", "uphill", "leading")


@pytest.mark.parametrize(
    ("stands", "accepted"),
    [
        ((UP,), True),
        ((UP, dataclasses.replace(UP, chainage_from_m=2.0, chainage_to_m=0.0), UP), False),
        (tuple(dataclasses.replace(UP, chainage_from_m=n / 4, chainage_to_m=(n + 1) / 4) for n in range(8)), True),
        (
            tuple(
                Stand(n / 4, (n + 1) / 4, "basket end", "uphill", "leading" if n != 3 else "trailing") for n in range(8)
            ),
            False,
        ),
        ((dataclasses.replace(UP, orientation="downhill"),), False),
        ((dataclasses.replace(UP, orientation="level"),), False),
        ((dataclasses.replace(UP, facing="trailing"),), False),
        ((dataclasses.replace(UP, end="arrow end"),), False),
        ((dataclasses.replace(UP, chainage_to_m=1.5),), False),
        ((dataclasses.replace(UP, chainage_from_m=0.5),), False),
        ((dataclasses.replace(UP, chainage_to_m=1.0), dataclasses.replace(UP, chainage_from_m=1.2)), False),
        ((dataclasses.replace(UP, chainage_to_m=1.0), dataclasses.replace(UP, chainage_from_m=1.0)), True),
    ],
)  # fmt: skip
def test_what_is_said_of_orientation_and_facing(stands: Any, accepted: bool) -> None:
    y, x = np.mgrid[0:121, 0:161] * 0.25
    poses = east(1, 0.0)
    site = certain(yard_for(poses, RATED, z=0.1 * x + 0.0 * y, thresholds=BARE))
    found = opinion(dataclasses.replace(move_of(poses, RATED), stands=stands), site)
    assert kinds(found) == (set() if accepted else {"form"})


def test_a_move_that_says_nothing_of_how_it_stands_is_refused() -> None:
    """Nor does a word that is right by the mean of a whole stretch stand for a slope up and as much down again."""
    y, x = np.mgrid[0:121, 0:161] * 0.25
    poses = drive(14.0, 15.0, 0.0, [(12.0, 0.0)], step_m=0.05)
    site = certain(yard_for(poses, RATED, z=0.15 * np.abs(x - 20.0) + 0.0 * y, thresholds=BARE))
    move = move_of(poses, RATED)
    said = Stand(0.0, 12.0, "basket end", "level", "leading")
    for stands, refused in (((), True), ((said,), True), (with_stands(move, site).stands, False)):
        found = second_opinion(
            dataclasses.replace(move, stands=stands), 9.0, site=site, machine=RATED, conditions=Conditions()
        )
        assert any("uphill" in one.text or "level" in one.text for one in found if one.kind == "form") is refused


def test_of_a_platform_over_the_whole_chassis_the_arrow_is_spoken_of() -> None:
    scissor = worlds.scissor()
    poses = east(-1, 0.0)
    site = certain(yard_for(poses, scissor, thresholds=BARE))
    for end, facing, accepted in (
        ("arrow end", "trailing", True), ("arrow end", "leading", False), ("basket end", "trailing", False),
    ):  # fmt: skip
        stand = Stand(0.0, 2.0, end, "level", facing)  # type: ignore[arg-type]
        found = opinion(dataclasses.replace(move_of(poses, scissor), stands=(stand,)), site)
        assert (found == ()) is accepted
