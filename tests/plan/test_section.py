"""The long section of a way: the least of every half metre, and what the checks say of the whole."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from shapely.geometry import box

from routeplan.plan.section import STEP_M
from routeplan.plan.whole import plan_site
from routeplan.recheck.section import TELLS
from routeplan.route.model import Move
from routeplan.site.model import GridSpec, Obstacle, Soffit
from tests import worlds

MACHINE = worlds.scissor(pivots=1.0)
EAST_M, NORTH_M, RISE = 24.0, 10.0, 0.02
#: What the machine passes under, from 9 m to 12 m east; walls on either side of its way from 15 m to 17 m east.
BEAM = box(9.0, -1.0, 12.0, 11.0)
WALLS = box(15.0, 6.3, 17.0, 11.0), box(15.0, -1.0, 17.0, 3.7)


@pytest.fixture(scope="module")
def move() -> Move:
    x = np.arange(0.0, EAST_M + 0.1, 0.25)
    z = np.tile(100.0 + RISE * x, (round(NORTH_M / 0.25) + 1, 1))
    soffit = Soffit("beam", BEAM, "beam", None, 3.8, 0.0, 0.0, 0.002, "S1")
    site = worlds.flat_site(
        EAST_M, NORTH_M, z=z, soffits=(soffit,), machines=(MACHINE,), grid=GridSpec(cell_m=0.5),
        obstacles=tuple(Obstacle(f"wall-{n}", wall, "wall", None) for n, wall in enumerate(WALLS)),
        places=(worlds.place("w", 3.0, 5.0, 90.0), worlds.place("e", 20.0, 5.0, 90.0)),
        moves=(worlds.wanted(MACHINE.id, "w", "e"),),
    )  # fmt: skip
    (found,) = plan_site(site, issued="2026-11-24T12:00:00+00:00").moves
    assert found.poses and found.refused is None, found.reason
    return found


def test_there_is_a_row_for_every_half_metre(move: Move) -> None:
    along = [row.chainage_m for row in move.section]
    assert along[0] == 0.0 and along[-1] > move.length_m - 2 * STEP_M
    assert all(0.0 < after - before <= 2 * STEP_M for before, after in pairwise(along))


def test_it_leans_as_the_ground_does(move: Move) -> None:
    """East is up, and the whole yard is one plane."""
    for row in move.section:
        steepest = math.hypot(row.pitch_deg, row.roll_deg)  # it does not head quite east all the way
        assert steepest == pytest.approx(math.degrees(math.atan(RISE)), abs=0.02) and row.pitch_deg > 0.8 * steepest
        assert row.level_m == pytest.approx(100.0 + RISE * (3.0 + row.chainage_m + MACHINE.wheelbase_m / 2), abs=0.02)


def test_the_least_of_each_kind_is_what_its_checks_say(move: Move) -> None:
    margins = {check.kind: check.margin for check in move.checks}
    for field, (kinds, far) in TELLS.items():
        told = min((value for row in move.section if not math.isnan(value := getattr(row, field))), default=math.inf)
        least = min(margins[kind] for kind in kinds)
        assert told == pytest.approx(least, abs=1e-4) if least < far else told >= far, field


def test_what_hangs_and_what_stands_is_told_where_it_is(move: Move) -> None:
    """With the machine's length and its tube: front 2.13 m ahead of the origin, rear 0.27 m behind."""
    under = [row.chainage_m for row in move.section if not math.isnan(row.head_m)]
    assert 2.0 < min(under) < 6.0 and 8.5 < max(under) < 11.0
    beside = [row.chainage_m for row in move.section if not math.isnan(row.body_m)]
    assert beside and 8.5 < min(beside) < 12.0 and 13.0 < max(beside) < 16.0


def test_no_row_lets_it_go_faster_than_the_rows_of_the_route(move: Move) -> None:
    for row, after in zip(move.section, [*move.section[1:], None], strict=True):
        until_m = after.chainage_m if after else math.inf
        limits = [pose.v_max_mps for pose in move.poses if row.chainage_m <= pose.chainage_m < until_m]
        assert not limits or row.v_max_mps <= min(limits)
