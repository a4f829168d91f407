"""What is under the wheels of a route's rows: how the ground may slope, and which surfaces tyres meet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from routeplan.hazards.attitude import stand
from routeplan.hazards.prepare import Hazards
from routeplan.machine.model import Machine
from routeplan.plan.trace import ROW_STEP_M, ROW_TURN_RAD
from routeplan.route.model import Pose, heading_rad
from routeplan.site.model import Site

Floats = NDArray[np.float64]

#: The course of a hub between two rows leaves its chord by less, metres.
_SAG_M = 0.005
#: Slope on ground that nobody surveyed: all the weight may be on one wheel.
_UNKNOWN = 9.0


def ends_of(poses: Sequence[Pose]) -> tuple[Floats, Floats]:
    """Where the machine is at each row and at the next, ``(n, 3)`` each."""
    rows = np.array([(pose.x, pose.y, heading_rad(pose.bearing_deg)) for pose in poses])
    return rows, np.concatenate([rows[1:], rows[-1:]])


@dataclass(frozen=True, eq=False)
class UnderWheels:
    """Rows of a route as what is under its wheels: ``courses`` (n, 4) of the hubs, ``reach_m`` (4,) of their tyres."""

    poses: Sequence[Pose]
    hazards: Hazards
    courses: NDArray[np.object_]
    reach_m: Floats

    @classmethod
    def of(cls, poses: Sequence[Pose], machine: Machine, hazards: Hazards, site: Site) -> UnderWheels:
        """Of each row on to the next, the tube included."""
        x, y, heading = ends_of(poses)[0].T[:, :, None]
        xi, eta = np.array([(wheel.xi_m, wheel.eta_m) for wheel in machine.wheels]).T
        hubs = np.stack([x + xi * np.cos(heading) - eta * np.sin(heading),
                         y + xi * np.sin(heading) + eta * np.cos(heading)], axis=-1)  # fmt: skip
        after = np.concatenate([hubs[1:], hubs[-1:]])
        half_m = machine.wheels[0].width_m / 2 + (machine.wheelbase_m / 2 if machine.tracks else 0.0)
        turned_m = np.hypot(xi, eta) * math.radians(site.thresholds.heading_tolerance_deg)
        courses = shapely.linestrings(np.stack([hubs, after], axis=-2))
        return cls(poses, hazards, courses, half_m + hazards.body.lateral + turned_m + _SAG_M)

    def slopes(self, row: int) -> tuple[tuple[float, float], tuple[float, float]]:
        """Least and largest pitch and roll from a row to the next, within the tube and over both planes."""
        at = self.poses[row]
        world, body = self.hazards.world, self.hazards.body
        stance = stand(world, body, at.x, at.y, heading_rad(at.bearing_deg), ROW_TURN_RAD, ROW_STEP_M)
        pitch, roll = (stance.pitch_spread, stance.roll_spread) if stance.known else (_UNKNOWN, _UNKNOWN)
        return (stance.pitch - pitch, stance.pitch + pitch), (stance.roll - roll, stance.roll + roll)

    def on(self, geometry: BaseGeometry) -> NDArray[np.bool_]:
        """Which wheels may meet an outline, (n, 4)."""
        return np.asarray(shapely.dwithin(self.courses, geometry, self.reach_m))
