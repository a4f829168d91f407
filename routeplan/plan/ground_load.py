"""The check "ground load" of a route: what its wheels carry against what the site claims of the ground under them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from routeplan.hazards.attitude import stand
from routeplan.hazards.bearing import Patch, limit_kn, rests_on
from routeplan.hazards.catalogue import CheckKind
from routeplan.hazards.prepare import Hazards
from routeplan.hazards.register import doubts, verdict
from routeplan.hazards.uncertainty import sigma_pitch, sigma_roll
from routeplan.hazards.wheel_loads import STEP_FACTOR, load_kn, sigma_kn, turned
from routeplan.machine.model import Configuration, Machine
from routeplan.plan.trace import ROW_STEP_M, ROW_TURN_RAD
from routeplan.route import Check, Pose, heading_rad
from routeplan.site.model import Site, Surface

Floats = NDArray[np.float64]

#: Margin where no surface on the way claims anything, kN: "at least"; no surface claims more.
NOTHING_CLAIMED_KN = 1000.0
#: The course of a hub between two rows leaves its chord by less, metres.
_SAG_M = 0.005
#: Slope on ground that nobody surveyed: all the weight may be on one wheel.
_UNKNOWN = 9.0


@dataclass(frozen=True, eq=False)
class _Driven:
    """Rows of a route as what is under its wheels: ``courses`` (n, 4) of the hubs, ``reach_m`` (4,) of their tyres."""

    poses: Sequence[Pose]
    machine: Machine
    shapes: tuple[Configuration, ...]
    hazards: Hazards
    site: Site
    courses: NDArray[np.object_]
    reach_m: Floats

    @classmethod
    def of(
        cls, poses: Sequence[Pose], machine: Machine, configurations: Iterable[str], hazards: Hazards, site: Site
    ) -> _Driven:
        x, y, heading = np.array([(pose.x, pose.y, heading_rad(pose.bearing_deg)) for pose in poses]).T[:, :, None]
        xi, eta = np.array([(wheel.xi_m, wheel.eta_m) for wheel in machine.wheels]).T
        hubs = np.stack([x + xi * np.cos(heading) - eta * np.sin(heading),
                         y + xi * np.sin(heading) + eta * np.cos(heading)], axis=-1)  # fmt: skip
        after = np.concatenate([hubs[1:], hubs[-1:]])
        half_m = machine.wheels[0].width_m / 2 + (machine.wheelbase_m / 2 if machine.tracks else 0.0)
        turned_m = np.hypot(xi, eta) * math.radians(site.thresholds.heading_tolerance_deg)
        return cls(
            poses, machine, tuple(machine.configurations[name] for name in configurations), hazards, site,
            shapely.linestrings(np.stack([hubs, after], axis=-2)), half_m + hazards.body.lateral + turned_m + _SAG_M,
        )  # fmt: skip

    def slopes(self, row: int) -> tuple[tuple[float, float], tuple[float, float]]:
        """Least and largest pitch and roll from a row to the next, within the tube and over both planes."""
        at = self.poses[row]
        world, body = self.hazards.world, self.hazards.body
        stance = stand(world, body, at.x, at.y, heading_rad(at.bearing_deg), ROW_TURN_RAD, ROW_STEP_M)
        pitch, roll = (stance.pitch_spread, stance.roll_spread) if stance.known else (_UNKNOWN, _UNKNOWN)
        return (stance.pitch - pitch, stance.pitch + pitch), (stance.roll - roll, stance.roll + roll)

    def factors(self, rows: NDArray[np.intp]) -> Floats:
        """What steps make of the load of each wheel on some rows, (n, 4)."""
        edges = shapely.union_all([d.geometry for d in self.site.defects if d.depth_m > 0.0 or d.height_m > 0.0])
        met = shapely.dwithin(self.courses[rows], edges, self.reach_m + self.hazards.wheel_radius_m)
        return np.where(met, STEP_FACTOR, 1.0)

    def loads(self, row: int) -> Floats:
        """Most that each wheel may carry from a row to the next, standing, kN (4,)."""
        slopes = self.slopes(row)
        return np.asarray(np.fmax.reduce([load_kn(self.machine, shape, *slopes) for shape in self.shapes]))


@dataclass(frozen=True)
class _Least:
    """The row and wheel that have least to spare on a surface."""

    margin: float
    value: float
    limit: float
    sigma: float
    row: int

    def slack(self, k: float) -> float:
        """What is left beyond k sigma; what is not known comes after all that is."""
        return math.inf if math.isnan(self.margin) else self.margin - k * self.sigma


def _least(driven: _Driven, surface: Surface, on: NDArray[np.bool_], k: float) -> _Least:
    """The least to spare on a surface where ``on`` (n, 4) says which wheels are on it."""
    assert surface.bearing is not None
    rows, patch = np.flatnonzero(on.any(axis=1)), Patch.of(driven.machine)
    accuracy, machine = driven.site.ground.accuracy, driven.machine
    slopes = sigma_pitch(accuracy, machine.wheelbase_m), sigma_roll(accuracy, machine.track_m)
    sigma = max(sigma_kn(machine, shape, *slopes) for shape in driven.shapes)
    found: list[_Least] = []
    for row, factors in zip(rows.tolist(), driven.factors(rows), strict=True):
        steepest = math.hypot(*(max(map(abs, slope)) for slope in driven.slopes(row)))
        limit = limit_kn(surface.bearing, patch, steepest)
        loads = np.where(on[row], driven.loads(row) * factors, -math.inf)
        wheel = int(np.argmax(loads))
        value = float(loads[wheel])
        found.append(_Least(limit - value, value, limit, sigma * float(factors[wheel]), row))
    return min(found, key=lambda least: least.slack(k))


def ground_load_check(
    line: CheckKind, poses: Sequence[Pose], *, site: Site, machine: Machine, hazards: Hazards, k: float,
    configurations: Iterable[str],
) -> Check:  # fmt: skip
    """The check over the rows of a route, at its worst; where no surface claims anything, its acceptance decides."""
    shapes = tuple(configurations)
    driven = _Driven.of(poses, machine, shapes, hazards, site)
    found: list[tuple[_Least, Surface]] = []
    for surface in site.surfaces:
        if surface.bearing is not None:
            on = np.asarray(shapely.dwithin(driven.courses, surface.geometry, driven.reach_m))
            if on.any():
                found.append((_least(driven, surface, on, k), surface))
    first = poses[0]
    if not found:
        why = tuple(text for text in doubts(replace(line, figures=(), surveyed=False), site, machine))
        return Check(
            line.kind, "not proven" if why else "pass", 0.0, NOTHING_CLAIMED_KN, NOTHING_CLAIMED_KN, line.unit, 0.0, k,
            first.chainage_m, (first.x, first.y), f"{line.source}; no surface on the way claims what wheels may weigh",
            why,
        )  # fmt: skip
    why = _doubts(line, site, machine, shapes, [surface for _, surface in found])
    least, surface = min(found, key=lambda one: one[0].slack(k))
    result = verdict(least.margin, least.sigma, k)
    at = poses[least.row]
    assert surface.bearing is not None
    return Check(
        line.kind, "not proven" if why and result != "fail" else result, least.value, least.limit, least.margin,
        line.unit, least.sigma, k, at.chainage_m, (at.x, at.y), f"{surface.id}: {surface.bearing.role}", why,
    )  # fmt: skip


def _doubts(
    line: CheckKind, site: Site, machine: Machine, shapes: Sequence[str], met: Sequence[Surface]
) -> tuple[str, ...]:
    """Why it cannot be a pass on the surfaces that are met."""
    more = dict.fromkeys(name for surface in met if surface.bearing for name in rests_on(surface.bearing))
    why = doubts(replace(line, figures=(*line.figures, *more)), site, machine, shapes)
    return why + tuple(f"nobody said where the weight acts in {shape}" for shape in shapes if turned(shape))
