"""From motions to rows of poses, close enough together that a reader can draw and check them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.sweep import along
from routeplan.machine.model import Configuration, Machine
from routeplan.plan.steer import steered
from routeplan.plan.way import Stretch
from routeplan.route.model import Pose, bearing_deg

Floats = NDArray[np.float64]

#: Largest displacement of any point of the envelope, and largest turn, between two rows; under the 0.10 m and 2
#: deg promised.
ROW_STEP_M = 0.095
ROW_TURN_RAD = math.radians(1.9)
#: Pieces that move no point by more than this have no rows of their own, m: rounding would blur their direction.
DRAWN_M = 0.001
#: Straight ahead.
STRAIGHT = np.array([1.0, 0.0, 0.0, 0.0])


def farthest_m(configuration: Configuration) -> float:
    """Distance from the machine's origin to the farthest corner of its envelope, m."""
    return max(math.hypot(xi, eta) for box in configuration.boxes for xi, eta in box.ring)


def _turned(piece: Floats) -> float:
    return abs(float(piece[0])) * (1.0 if piece[2] else abs(float(piece[1])))


def _travelled(piece: Floats) -> float:
    return 0.0 if piece[2] else abs(float(piece[0]))


def _rows_of(piece: Floats, also: Sequence[Floats], reach_m: float) -> int:
    """Rows to draw a piece in, where the first or the last of them also takes in some that are too short to draw."""
    turn_rad, step_m = ROW_TURN_RAD - sum(map(_turned, also)), ROW_STEP_M - sum(_moved(one, reach_m) for one in also)
    return max(1, math.ceil(_moved(piece, reach_m) / step_m), math.ceil(_turned(piece) / turn_rad))


def _moved(piece: Floats, reach_m: float) -> float:
    return _turned(piece) * reach_m + _travelled(piece)


_Driven = tuple[Stretch, int, tuple[float, float, float], Floats]


def _placed(stretches: Sequence[Stretch]) -> Iterator[_Driven]:
    """Stretch, gear (0 on the spot), starting pose and figures of every piece driven."""
    for stretch in stretches:
        for motion in stretch.motions:
            at = (motion.at.x, motion.at.y, motion.at.heading)
            for piece in motion.pieces:
                if piece[0] != 0.0:
                    yield stretch, 0 if piece[2] else motion.gear, at, piece
                at = along(*at, *piece)


def _short(piece: Floats, reach_m: float) -> bool:
    """Whether a piece is too short to draw."""
    return bool(abs(piece[0]) * (reach_m if piece[2] else 1.0) < DRAWN_M)


def _runs(
    stretches: Sequence[Stretch], reach_m: float, ordinary: str
) -> Iterator[tuple[tuple[str, int, str], list[_Driven]]]:
    """What is driven in one travel mode, gear and steering: rows repeat the pose where any of them changes.

    Pieces too short to draw ask for no steering of their own.
    """
    placed = list(_placed(stretches))
    asking = (STRAIGHT if _short(piece, reach_m) and not piece[2] else piece for _, _, _, piece in placed)
    ways = steered(asking, ordinary)
    told = zip(placed, ways, strict=True)
    for how, run in groupby(told, key=lambda one: (one[0][0].lattice.hazards.travel_mode, one[0][1], one[1])):
        yield how, [driven for driven, _ in run]


def trace(stretches: Sequence[Stretch], machine: Machine) -> tuple[Pose, ...]:
    """Rows of a route; a change of gear, steering or travel mode repeats the pose.

    Parameters
    ----------
    stretches
        One after the other, each starting where the one before ended; at least one. Pieces too short to draw are part
        of the row before or after them.
    """
    reach = max(farthest_m(stretch.lattice.hazards.configuration) for stretch in stretches)
    speed = machine.value("travel_speed_mps") if "travel_speed_mps" in machine.figures else math.nan
    rows: list[Pose] = []
    chainage = 0.0
    for (travel_mode, gear, steer), run in _runs(stretches, reach, machine.ordinary_steer):
        mine = _rows(run, reach, chainage)
        chainage += sum(_travelled(piece) for _, _, _, piece in run)
        rows += [
            Pose(x, y, bearing_deg(heading), gear, travel_mode, steer, "stowed", speed, at_m)
            for x, y, heading, at_m in mine
            if len(mine) > 1
        ]
    return tuple(rows)


def _rows(run: Sequence[_Driven], reach_m: float, chainage_m: float) -> list[tuple[float, float, float, float]]:
    """Poses and chainages along a run, its start first; pieces too short to draw only move the row they are part of."""
    rows = [(*run[0][2], chainage_m)]
    for group in _with_short(run, reach_m):
        for n, (_, _, at, piece) in enumerate(group):
            if not _short(piece, reach_m):
                count = _rows_of(piece, [one for m, (_, _, _, one) in enumerate(group) if m != n], reach_m)
                travel = _travelled(piece) / count
                rows += [
                    (*along(*at, piece[0] * i / count, *piece[1:]), chainage_m + travel * i)
                    for i in range(1, count + 1)
                ]
            chainage_m += _travelled(piece)
        if len(rows) > 1:
            rows[-1] = (*along(*at, *piece), chainage_m)
    return rows


def _with_short(run: Sequence[_Driven], reach_m: float) -> list[list[_Driven]]:
    """Pieces that are drawn, each with those too short to draw that follow; the first also with those before it."""
    groups: list[list[_Driven]] = [[]]
    drawn = False
    for driven in run:
        if not _short(driven[3], reach_m):
            if drawn:
                groups.append([])
            drawn = True
        groups[-1].append(driven)
    return groups


def reversals(poses: Sequence[Pose]) -> int:
    """How often the machine changes between driving along its arrow and against it."""
    gears = [pose.gear for pose in poses if pose.gear]
    return sum(a != b for a, b in zip(gears, gears[1:], strict=False))
