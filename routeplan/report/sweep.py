"""The ground that a machine covers: its outline at each pose, and the band that it sweeps between them."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from shapely import MultiPoint, union_all
from shapely.geometry.base import BaseGeometry

from routeplan.report.shapes import Position
from routeplan.route.model import Pose, heading_rad

#: The band is simplified to 50 mm: by half of that, as the point at which a ring begins may move by two such steps.
BAND_TOLERANCE_M = 0.05
#: Widening before that, metres: the simplifications of band and drawn line, rounding to 10 mm, and what hulls of
#: neighbours leave out of a turn. The drawn band never lies inside the swept one.
BAND_WIDENED_M = 0.09
#: Between two placements of the band: at most this far, this much turned, and this much change of turn from row to row.
_BAND_STEP_M = 0.5
_BAND_TURN_DEG = 3.0
_BAND_BEND_DEG = 0.1

Array = NDArray[np.float64]


def placements(poses: Sequence[Pose], ring: Sequence[Position]) -> Array:
    """Return a ring of the machine frame at every pose, shape ``(poses, corners, 2)``, site metres."""
    corners = np.asarray(ring, dtype=np.float64)
    angles = np.array([heading_rad(pose.bearing_deg) for pose in poses])
    origins = np.array([(pose.x, pose.y) for pose in poses])
    cos, sin = np.cos(angles)[:, None], np.sin(angles)[:, None]
    xs = corners[None, :, 0] * cos - corners[None, :, 1] * sin
    ys = corners[None, :, 0] * sin + corners[None, :, 1] * cos
    return np.asarray(np.stack((xs, ys), axis=2) + origins[:, None, :], dtype=np.float64)


def swept(poses: Sequence[Pose], ring: Sequence[Position]) -> BaseGeometry:
    """Return the ground that a ring sweeps, never too small, simplified to 50 mm."""
    placed = placements(_thinned(poses), ring)
    pairs = np.concatenate((placed[:-1], placed[1:]), axis=1) if len(placed) > 1 else placed
    hulls = [MultiPoint(corners).convex_hull for corners in pairs]
    return union_all(hulls).buffer(BAND_WIDENED_M, join_style="mitre").simplify(BAND_TOLERANCE_M / 2.0)


def _thinned(poses: Sequence[Pose]) -> list[Pose]:
    """Return the ends, where gear or curvature changes, and enough between for neighbours' hulls to cover the sweep."""
    kept = [poses[0]]
    for before, pose, ahead in zip(poses, poses[1:], poses[2:], strict=False):
        last = kept[-1]
        far = math.dist((ahead.x, ahead.y), (last.x, last.y)) > _BAND_STEP_M
        turned = abs(_turn_deg(last, ahead)) > _BAND_TURN_DEG
        bends = abs(_turn_deg(before, pose) - _turn_deg(pose, ahead)) > _BAND_BEND_DEG
        if far or turned or bends or not before.gear == pose.gear == ahead.gear:
            kept.append(pose)
    return [*kept, poses[-1]]


def _turn_deg(first: Pose, second: Pose) -> float:
    return (second.bearing_deg - first.bearing_deg + 180.0) % 360.0 - 180.0
