"""Blocks of about a metre with a plane each: where no pose needs a closer look at the ground or at what is overhead.

A block's plane stands for the ground around it; summaries of the blocks within a machine's reach say how far wheel
levels, ground and soffits may lie from that plane. All bounds hold for every heading and every place in the tube.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards import arrays
from routeplan.hazards.arrays import BLOCK, CALM_MOTION, CALM_POSE, Body, Floats, Ints, Records, records_of
from routeplan.hazards.attitude import STANCE_STEP, most_turned
from routeplan.hazards.clearance import COMFORT_M
from routeplan.hazards.fields import GroundFields
from routeplan.hazards.ground import BETWEEN_STANCES_M
from routeplan.hazards.planes import (
    CEILING,
    DEFECT,
    DEVIATION,
    HIGH,
    HUMP,
    MINUS_LOW,
    RAISED,
    SUMMARY,
    TILT,
    fit_planes,
    gathered,
    summarise,
)  # fmt: skip
from routeplan.hazards.terrain import Terrain, disc_maximum

BLOCK_M = 1.0
#: Half side of the square that a block's plane is fitted to, m.
FIT_HALF_M = 2.5


@dataclass(frozen=True, eq=False)
class Blocks:
    """Blocks ``size`` nodes wide: ``records`` (rows, cols) of ``arrays.BLOCK``."""

    size: int
    records: Records


def _offsets(reach_blocks: float) -> Ints:
    n = math.floor(reach_blocks)
    r, c = np.meshgrid(np.arange(-n, n + 1), np.arange(-n, n + 1), indexing="ij")
    far = np.hypot(r, c).ravel()
    order = np.argsort(far, kind="stable")
    order = order[far[order] <= reach_blocks]
    return np.column_stack([r.ravel()[order], c.ravel()[order]])


@dataclass(frozen=True, eq=False)
class _Bounds:
    """What holds for every pose from a block, all (block rows, block cols)."""

    along: Floats  # slope along, tube and rocking included
    across: Floats
    off: Floats  # wheel levels keep within this of the plane, m
    twist: Floats
    tilt: Floats  # gradient at any node against the plane's


def _pose_bounds(seen: Floats, planes: Floats, body: Body) -> _Bounds:
    """Slopes that any stance from a block may have; see ``attitude.stand`` for each term.

    With wheel levels within ``off`` of a plane, four wheels twist by at most 4 off, the slope along is off by at most
    3 off / wheelbase and the slope across by 3 off / track, spreads included. ``seen`` holds the spans where wheels
    stand; over where they may be the local planes part from the block's by their tilt against it, and from the mean
    plane by its tilt too.
    """
    far = body.lateral + body.wheelbase * body.sin_heading + STANCE_STEP
    slope = np.hypot(planes[..., 1], planes[..., 2])
    off = 0.5 * (seen[..., HIGH] + seen[..., MINUS_LOW])
    tilt = seen[..., TILT] + 3.0 * off * (1.0 / body.wheelbase + 1.0 / body.track)
    off = off + far * tilt + body.tyre_half * seen[..., TILT] + 0.5 * body.radius * (slope + seen[..., TILT]) ** 2
    stop = body.track * body.stop_tan if body.oscillating else 0.0
    twist = np.maximum(4.0 * off - stop, 0.0)
    along = (3.0 * off + 0.5 * twist) / body.wheelbase
    across = (3.0 * off + 0.5 * twist) / body.track
    turned = (body.sin_heading + most_turned(body)) * (slope + np.maximum(along, across))
    return _Bounds(along + turned, across + turned, off, twist, seen[..., TILT])


def _point_slack(bounds: _Bounds, body: Body, xi: float, eta: float) -> Floats:
    """How far any admissible plane of the wheels may lie from the block's plane at a body point, m."""
    q, lean = (xi - body.wheel_xi[2]) / body.wheelbase, abs(eta) / body.track
    rock = bounds.twist * (0.25 + 0.5 * (lean + abs(q - 0.5)))
    slack: Floats = 2.0 * bounds.off * (abs(q) + abs(1.0 - q)) + bounds.across * abs(eta) + rock
    return slack


def _rise(seen: Floats, bounds: _Bounds, body: Body) -> Floats:
    worst = np.zeros(seen.shape[:2])
    for xi, eta, front, rear in body.rows("basket"):
        q, lean = (xi - body.wheel_xi[2]) / body.wheelbase, abs(eta) / body.track
        static = (abs(q) + abs(1.0 - q) + 2.0 * lean) * seen[..., DEVIATION]
        static = static + bounds.twist * (0.25 + 0.5 * (lean + abs(q - 0.5)))
        static = static + (2.0 * bounds.off * lean if body.oscillating else 0.0)
        worst = np.maximum(worst, static + body.amplification * max(front, rear) * seen[..., DEFECT])
    return worst


def _spare_of_slopes(seen: Floats, bounds: _Bounds, slope: Floats, body: Body) -> Floats:
    """What is left of slopes, bounce and steps beyond comfort and proof; each scaled to its own unit."""
    wanted = np.maximum(body.proven, 0.0)
    limits = math.atan(min(body.limit_up, body.limit_down)), math.atan(body.limit_side)
    use = slope / min(limits) + np.hypot(bounds.along / limits[0], bounds.across / limits[1])
    degrees = math.degrees(1.0)
    rise = _rise(seen, bounds, body)
    spare = (
        0.5 - use,
        1.0 - use - wanted[arrays.COMBINED],
        (1.0 - use) * limits[0] * degrees - wanted[arrays.GRADE],
        (1.0 - use) * limits[1] * degrees - wanted[arrays.SIDE_SLOPE],
        0.5 * body.bounce_limit - rise,
        body.bounce_limit - rise - wanted[arrays.BOUNCE],
        body.step_limit - seen[..., RAISED] - wanted[arrays.STEP],
        np.where(seen[..., RAISED] > 0.0, -1.0, np.inf),  # at which angle a wheel meets it is looked at
    )
    smallest: Floats = np.min(np.array(spare), axis=0)
    return smallest


def _calm_poses(seen: Floats, planes: Floats, body: Body, cell_m: float) -> tuple[Floats, Floats]:
    """Smallest spare margin of the checks of ground and soffits beyond comfort and proof, and the largest lean (slope).

    What is taken off at a body point is convex in its place, so that corners of boxes are enough.
    """
    bounds = _pose_bounds(seen, planes, body)
    slope = np.hypot(planes[..., 1], planes[..., 2])
    spare = _spare_of_slopes(seen, bounds, slope, body)
    moved = body.lateral + body.reach * body.sin_heading + 0.5 * STANCE_STEP
    middle = 0.5 * (seen[..., HIGH] - seen[..., MINUS_LOW])
    differ = moved * (1.5 * bounds.tilt + bounds.along + bounds.across)
    strike = max(body.proven[arrays.STRIKE], 0.0) + body.underside_gap + BETWEEN_STANCES_M
    lean = slope + np.hypot(bounds.along, bounds.across)
    steep = 2.0 * slope + bounds.along + bounds.across
    enough = max(COMFORT_M, *(body.proven[kind] for kind in (arrays.HEAD, arrays.OVERHEAD, arrays.UNDER_LINE)))
    lift = body.tyre_half * (slope + bounds.tilt)
    for xi, eta, bottom, top, front, rear, gap in body.rows("corners"):
        slack = _point_slack(bounds, body, xi, eta)
        spare = np.minimum(spare, bottom + middle - slack - differ - seen[..., HUMP] - strike)
        thrown = body.amplification * max(front, rear) * seen[..., DEFECT] + steep * (moved + top * lean + cell_m)
        spare = np.minimum(spare, -seen[..., CEILING] - top - lift - middle - slack - thrown - gap - enough)
    return spare, lean


def build_blocks(
    terrain: Terrain,
    body: Body,
    fields: GroundFields,
    soffit: Floats,
    low: NDArray[np.bool_],
    travel_m: float,
) -> Blocks:
    """Planes and calm bits of one machine.

    Parameters
    ----------
    soffit
        (rows, cols) lowest soffit or line less k sigma.
    low
        (rows, cols) true within reach of obstacles that a body might pass over: never calm, undersides count there.
    travel_m
        How far the origin may get from where a motion starts.
    """
    size = max(1, round(BLOCK_M / terrain.cell_m))
    block_m = size * terrain.cell_m
    shape = tuple(-(-n // size) for n in terrain.level.shape)
    planes, summary = np.empty((*shape, 3)), np.empty((*shape, SUMMARY))
    fit_planes(terrain.level, terrain.cell_m, size, round(FIT_HALF_M / terrain.cell_m), planes)
    summarise(
        planes, size, terrain.cell_m, terrain.level, terrain.gx, terrain.gy, fields.spans, fields.under,
        np.array([fields.deviation, fields.defect, fields.raised]), soffit, summary,
    )  # fmt: skip
    limits = (body.limit_up, body.limit_down, body.limit_side)
    both = math.sqrt(2.0) * block_m + terrain.cell_m
    wheels = float(np.hypot(body.wheel_xi, body.wheel_eta).max()) + both
    around, near = _offsets((body.reach + body.tallest * max(limits) + both) / block_m), _offsets(wheels / block_m)
    seen = np.empty_like(summary)
    gathered(planes, summary, block_m, around, len(near), seen)
    with np.errstate(invalid="ignore"):
        spare, lean = _calm_poses(seen, planes, body, terrain.cell_m)
    starts = [np.arange(0, n, size) for n in terrain.level.shape]
    passed = np.logical_or.reduceat(np.logical_or.reduceat(low, starts[0], axis=0), starts[1], axis=1)
    pose = (spare >= 0.0) & ~passed
    away = (travel_m + both) / block_m
    motion = disc_maximum((~pose).astype(np.float64), away) == 0.0
    moved = body.lateral + body.reach * body.sin_heading + 0.5 * STANCE_STEP
    hump = seen[..., HUMP] + moved * 1.5 * seen[..., TILT]
    found = records_of(
        BLOCK, level=planes[..., 0], east=planes[..., 1], north=planes[..., 2], hump=hump, ceiling=-seen[..., CEILING],
        lean=disc_maximum(np.where(pose, lean, 0.0), away), calm=pose * CALM_POSE + motion * CALM_MOTION,
    )  # fmt: skip
    return Blocks(size, found)
