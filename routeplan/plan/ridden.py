"""A route as its wheels ride it: heights of body points along the path, on every line of the tube."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, product

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.arrays import Body
from routeplan.hazards.prepare import Hazards
from routeplan.hazards.rebound import Ride
from routeplan.hazards.rolling import wheel_levels
from routeplan.route.model import Pose, heading_rad

Floats = NDArray[np.float64]

#: Longest step between two heights, m: several to a cell of any raster, and to what a small wheel smooths.
STEP_M = 0.02
#: Where the tube is looked at, as shares of its half width and of its half turn.
LINES = tuple(product((-1.0, 0.0, 1.0), (-1.0, 0.0, 1.0)))


@dataclass(frozen=True, eq=False)
class Path:
    """The path that rows are driven along: of the origin, and on the spot of the wheel that goes farthest, m.

    Parameters
    ----------
    rows_m
        ``(rows,)`` of every row.
    at_m
        ``(n,)`` of samples, among them every place where the machine comes to stand.
    poses
        ``(n, 3)`` x, y and heading there.
    chainage_m
        ``(n,)`` there.
    halts
        ``(n,)`` where it comes to stand.
    """

    rows_m: Floats
    at_m: Floats
    poses: Floats
    chainage_m: Floats
    halts: NDArray[np.bool_]


def path_of(poses: Sequence[Pose], body: Body, holds_m: Iterable[float]) -> Path:
    """The path of some rows; it stands where rows repeat a pose, and at hold points (chainages)."""
    arm_m = max(map(math.hypot, body.wheel_xi, body.wheel_eta))
    headings = np.unwrap([heading_rad(pose.bearing_deg) for pose in poses])
    chainage = np.array([pose.chainage_m for pose in poses])
    driven, turned = np.diff(chainage), np.abs(np.diff(headings)) * arm_m
    lengths = np.where(driven > 0.0, driven, turned)
    rows = np.append(0.0, np.cumsum(lengths))
    stops = {0.0, float(rows[-1]), *rows[1:][lengths == 0.0].tolist()}
    stops |= {float(rows[np.argmin(np.abs(chainage - at))]) for at in holds_m}
    breaks = sorted(stops)
    pieces = [np.linspace(a, b, math.ceil((b - a) / STEP_M) + 1)[1:] for a, b in pairwise(breaks)]
    at = np.concatenate([[0.0], *pieces])
    x, y = np.array([pose.x for pose in poses]), np.array([pose.y for pose in poses])
    placed = np.column_stack([np.interp(at, rows, values) for values in (x, y, headings)])
    return Path(rows, at, placed, np.interp(at, rows, chainage), np.isin(at, breaks))


def rides(path: Path, points: Floats, hazards: Hazards) -> Iterator[Ride]:
    """Heights of body points (n, 2: xi, eta) along each line of the tube.

    A feature between two lines is met on both: outlines count half of what lies between two lines farther out.
    """
    body = hazards.body
    between = max(body.lateral, float(np.abs(body.wheel_xi).max()) * body.sin_heading)
    for aside, turned in LINES:
        x, y, heading = path.poses.T
        moved = aside * body.lateral
        line = np.column_stack([
            x - moved * np.sin(heading), y + moved * np.cos(heading), heading + turned * math.asin(body.sin_heading)
        ])  # fmt: skip
        levels = np.empty((len(line), 4))
        wheel_levels(hazards.world, body, line, 0.5 * between, levels)
        middle, apart = heights(body, levels, points)
        yield Ride(path.at_m, middle, apart, path.halts)


def heights(body: Body, levels: Floats, points: Floats) -> tuple[Floats, Floats]:
    """Level of body points (m, 2: xi, eta) half way between the planes that a machine may rock to, and what parts them.

    From wheel levels (n, 4: FL FR RL RR), ``(m, n)`` each; see ``rebound.Ride``.
    """
    front_left, front_right, rear_left, rear_right = levels.T
    most = body.track * body.stop_tan if body.oscillating > 0 else 0.0
    given = 0.5 * np.clip(front_left + rear_right - front_right - rear_left, -most, most)
    if body.oscillating == 1:
        front_left, front_right = front_left - given, front_right + given
    else:
        rear_left, rear_right = rear_left + given, rear_right - given
    twist = front_left + rear_right - front_right - rear_left
    pitch = (front_left + front_right - rear_left - rear_right) / (2.0 * body.wheelbase)
    roll = (front_left + rear_left - front_right - rear_right) / (2.0 * body.track)
    mean = 0.25 * (front_left + front_right + rear_left + rear_right)
    ahead, left = points[:, 0, None] - body.wheel_xi[2] - 0.5 * body.wheelbase, points[:, 1, None]
    middle = mean + pitch * ahead + roll * left + 0.25 * np.abs(twist)
    return middle, np.abs(twist) * left / body.track - twist * ahead / body.wheelbase
