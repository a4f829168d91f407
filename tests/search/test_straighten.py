"""Ways drawn straighter: the same ends and gears, in one piece, driven as well, and never dearer."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import groupby, pairwise

import numpy as np
import pytest

from routeplan.search.anchors import Anchor, check_motions
from routeplan.search.lattice import Found
from routeplan.search.motions import Turn
from routeplan.search.straighten import Motion, straightened
from routeplan.site.model import GridSpec
from tests.search.explicit import BLOCKED, EIGHTHS, OPEN
from tests.search.windows import LIMITS, MACHINES, NODE_M, Window, draw, lattice_of
from tests.worlds import flat_site

#: Twenty-four windows by default, two hundred when the environment variable ``ROUTEPLAN_FULL`` is set.
SEEDS = range(200 if os.environ.get("ROUTEPLAN_FULL") else 24)
#: What a radian of turning is worth beside driving, m; see ``straighten``.
TURN_M = 0.5


@dataclass(frozen=True, eq=False)
class Drawn:
    """A way of the search, the same drawn straighter, and what that is said to save."""

    window: Window
    before: tuple[Motion, ...]
    after: tuple[Motion, ...]
    saved_m: float


@cache
def drawn(seed: int) -> tuple[Drawn, ...]:
    """The ways that were found over a window, without the motions of no length that join ends on nodes."""
    window = draw(seed)
    found = [window.lattice.find(starts, goals) for starts, goals in window.asked]
    ways = [answer.motions for answer in found if isinstance(answer, Found)]
    driven = [tuple(motion for motion in way if motion.pieces[:, 0].any()) for way in ways]
    return tuple(
        Drawn(window, way, *straightened(way, hazards=window.hazards, turns=window.lattice.motions.turns))
        for way in driven if way
    )  # fmt: skip


def looked_at(motions: Sequence[Motion], window: Window, *, brief: bool) -> list[int]:
    """Verdict bytes of motions, those driven backwards looked at along the arrow."""
    along = [motion.reversed() if motion.gear < 0 else motion for motion in motions]
    width = max(len(motion.pieces) for motion in along)
    pieces = np.array([np.pad(motion.pieces, ((0, width - len(motion.pieces)), (0, 0))) for motion in along])
    starts = np.array([(motion.at.x, motion.at.y, motion.at.heading) for motion in along])
    _, verdicts = check_motions(window.hazards, starts, pieces, brief=brief)
    return [int(byte) for byte in verdicts]


def cost_m(way: Drawn, motions: Sequence[Motion], *, turn_m: float) -> float:
    """Metres of the best forward driving that a way is worth, turns on the spot and changes of gear left out."""
    total = 0.0
    for motion, byte in zip(motions, looked_at(motions, way.window, brief=True), strict=True):
        if motion.gear:
            lengths = np.abs(motion.pieces[:, 0])
            turned = float((lengths * np.abs(motion.pieces[:, 1])).sum())
            driven = float(lengths.sum()) * (byte & EIGHTHS) / 8.0
            total += (driven + turn_m * turned) * (1.5 if motion.gear < 0 else 1.0)
    return total


def open_m(way: Drawn, motions: Sequence[Motion]) -> float:
    """Length of what is not proven, m."""
    looks = zip(motions, looked_at(motions, way.window, brief=True), strict=True)
    return sum(float(np.abs(motion.pieces[:, 0]).sum()) for motion, byte in looks if byte & OPEN)


def gap(one: Anchor, other: Anchor) -> float:
    """How far two poses lie apart, m and rad together."""
    turned = abs(math.remainder(one.heading - other.heading, 2.0 * math.pi))
    return math.hypot(one.x - other.x, one.y - other.y) + turned


def gears(motions: Sequence[Motion]) -> list[int]:
    """Gears in order, each as long as it is kept."""
    return [gear for gear, _ in groupby(motion.gear for motion in motions)]


@pytest.mark.parametrize("seed", SEEDS)
def test_ends_and_gears_stay_and_the_way_is_in_one_piece(seed: int) -> None:
    for way in drawn(seed):
        assert gap(way.before[0].at, way.after[0].at) < 1e-6
        assert gap(way.before[-1].end, way.after[-1].end) < 1e-6
        assert all(gap(one.end, other.at) < 1e-6 for one, other in pairwise(way.after))
        assert gears(way.before) == gears(way.after)
        for motion in way.after:
            lengths = motion.pieces[motion.pieces[:, 2] == 0.0, 0]
            assert motion.gear == 0 or (motion.gear * lengths >= 0.0).all()


@pytest.mark.parametrize("seed", SEEDS)
def test_a_full_look_blocks_none_of_it_and_no_turn_is_tighter(seed: int) -> None:
    for way in drawn(seed):
        bytes_ = looked_at(way.after, way.window, brief=False)
        lengths = [np.abs(motion.pieces[:, 0]).sum() for motion in way.after]
        assert all(byte != BLOCKED or length == 0.0 for byte, length in zip(bytes_, lengths, strict=True))
        tightest = max(float(np.abs(motion.pieces[:, 1]).max()) for motion in way.after)
        assert tightest <= 1.0 / way.window.lattice.motions.turns[0].radius_m + 1e-12


@pytest.mark.parametrize("seed", SEEDS)
def test_it_saves_what_it_says_and_is_never_dearer(seed: int) -> None:
    for way in drawn(seed):
        saved_m = cost_m(way, way.before, turn_m=0.0) - cost_m(way, way.after, turn_m=0.0)
        assert way.saved_m == pytest.approx(saved_m, abs=1e-9)
        assert cost_m(way, way.after, turn_m=TURN_M) <= cost_m(way, way.before, turn_m=TURN_M) + 1e-9
        assert open_m(way, way.after) <= open_m(way, way.before) + 1e-9


def test_ways_do_get_straighter() -> None:
    every = [way for seed in SEEDS for way in drawn(seed)]
    assert len(every) >= 30
    shorter = [way for way in every if way.saved_m > 0.2]
    assert len(shorter) >= len(every) // 3
    assert any(motion.gear < 0 for way in shorter for motion in way.after)


def test_a_detour_over_open_ground_becomes_a_line() -> None:
    """A quarter turn aside and back, on level ground with nothing on it: nothing keeps the machine from going straight.

    Two arcs of a quarter and one of a half turn at radius r, ends in one line 4 r apart: 2 pi r of driving for 4 r.
    """
    lattice = lattice_of(flat_site(14.0, 14.0, thresholds=LIMITS, grid=GridSpec(NODE_M, 16)), MACHINES[1])
    r = lattice.motions.turns[0].radius_m
    quarter = 0.5 * math.pi * r
    bends = ((quarter, 1.0 / r), (2.0 * quarter, -1.0 / r), (quarter, 1.0 / r))
    pieces = np.array([[length, bent, 0.0, 0.0] for length, bent in bends])
    way = (Motion(Anchor(5.0, 7.0, 0.0), pieces, 1),)
    assert gap(way[0].end, Anchor(5.0 + 4.0 * r, 7.0, 0.0)) < 1e-9
    after, saved_m = straightened(way, hazards=lattice.hazards, turns=(Turn(r, 0.0),))
    lengths = sum(float(np.abs(motion.pieces[:, 0]).sum()) for motion in after)
    assert lengths == pytest.approx(4.0 * r, abs=1e-9)
    assert saved_m == pytest.approx((2.0 * math.pi - 4.0) * r, abs=1e-9)


@pytest.mark.parametrize("turns", [(), (math.pi / 4,)])
def test_a_way_that_only_turns_on_the_spot_is_left_as_it_is(turns: tuple[float, ...]) -> None:
    """Ends on a node are joined by motions of no length, before and after the turn, or with no turn at all."""
    lattice = lattice_of(flat_site(14.0, 14.0, thresholds=LIMITS, grid=GridSpec(NODE_M, 16)), MACHINES[0])
    at = Anchor(7.0, 7.0, 0.0)
    way = [Motion(at, np.zeros((1, 4)), 1), *(Motion(at, np.array([[turn, 0.0, 1.0, 0.0]]), 0) for turn in turns)]
    way.append(Motion(way[-1].end, np.zeros((1, 4)), 1))
    after, saved_m = straightened(way, hazards=lattice.hazards, turns=lattice.motions.turns)
    assert [motion.gear for motion in after if motion.pieces[:, 0].any()] == [0 for _ in turns]
    assert saved_m == 0.0
