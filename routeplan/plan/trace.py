"""From motions to rows of poses, close enough together that a reader can draw and check them."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.sweep import along
from routeplan.machine.model import Configuration, Machine
from routeplan.route import Pose, bearing_deg
from routeplan.search.straighten import Motion

#: Largest displacement of any point of the envelope, and largest turn, between two rows; under the 0.10 m and 2
#: deg promised.
ROW_STEP_M = 0.095
ROW_TURN_RAD = math.radians(1.9)


def farthest_m(configuration: Configuration) -> float:
    """Distance from the machine's origin to the farthest corner of its envelope, m."""
    return max(math.hypot(xi, eta) for box in configuration.boxes for xi, eta in box.ring)


def _rows_of(piece: NDArray[np.float64], reach_m: float) -> int:
    length, curvature, pivot = abs(float(piece[0])), abs(float(piece[1])), bool(piece[2])
    turned = length if pivot else length * curvature
    travelled = turned * reach_m + (0.0 if pivot else length)
    return max(1, math.ceil(travelled / ROW_STEP_M), math.ceil(turned / ROW_TURN_RAD))


def trace(
    motions: Sequence[Motion], *, machine: Machine, configuration: Configuration, travel_mode: str
) -> tuple[Pose, ...]:
    """Rows of a route; a change of gear repeats the pose in its new gear.

    Parameters
    ----------
    motions
        One after the other, each starting where the one before ended; at least one.
    """
    reach = farthest_m(configuration)
    speed = machine.value("travel_speed_mps") if "travel_speed_mps" in machine.figures else math.nan
    rows: list[Pose] = []
    chainage = 0.0
    for motion in motions:
        x, y, heading = motion.at.x, motion.at.y, motion.at.heading
        for piece in motion.pieces:
            length, curvature, pivot = (float(v) for v in piece)
            if length == 0.0:
                continue
            gear, steer = (0, "pivot") if pivot else (motion.gear, "front")
            if not rows or rows[-1].gear != gear:
                rows.append(Pose(x, y, bearing_deg(heading), gear, travel_mode, steer, "stowed", speed, chainage))
            n = _rows_of(piece, reach)
            for i in range(1, n + 1):
                px, py, ph = along(x, y, heading, length * i / n, curvature, pivot)
                at = chainage if pivot else chainage + abs(length) * i / n
                rows.append(Pose(px, py, bearing_deg(ph), gear, travel_mode, steer, "stowed", speed, at))
            chainage = rows[-1].chainage_m
            x, y, heading = along(x, y, heading, length, curvature, pivot)
    return tuple(rows)


def reversals(poses: Sequence[Pose]) -> int:
    """How often the machine changes between driving along its arrow and against it."""
    gears = [pose.gear for pose in poses if pose.gear]
    return sum(a != b for a, b in zip(gears, gears[1:], strict=False))
