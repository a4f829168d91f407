"""Wheels rolled over the levels themselves, place by place: where each stands, on the ground and on clean ground."""

from __future__ import annotations

import math

import numpy as np

from routeplan.hazards.arrays import Body, Floats, World
from routeplan.hazards.clearance import clipped
from routeplan.hazards.levels import CLEAN, SURVEYED, arc_over, height, outline_distance, worst_within
from routeplan.kernel import kernel

#: Which way lines of the raster run; numpy's for the same reason as the layers.
_NORTH, _EAST = np.int64(0), np.int64(1)
#: Steps to where a disc touches ground that curves between two lines of the raster.
_TOUCHES = 4


@kernel
def next_line(at: float, rate: float) -> float:
    """How far on the next whole number lies for what changes at a rate; infinite where nothing changes."""
    if rate > 0.0:
        return (math.floor(at + 1e-9) + 1.0 - at) / rate
    if rate < 0.0:
        return (math.ceil(at - 1e-9) - 1.0 - at) / rate
    return math.inf


@kernel
def rolled_on(world: World, layer: np.int64, radius: float, x: float, y: float, c: float, s: float) -> float:
    """Level that a thin disc stands at, m; NaN where a level under it is not known.

    Along its line the bilinear levels are parabolas from one line of the raster to the next: the disc is tried on their
    ends, and in each where it touches.
    """
    u, v = (x - world.x0) / world.cell, (y - world.y0) / world.cell
    along, beside = c / world.cell, s / world.cell
    t0 = -radius
    z0 = height(world, layer, u + t0 * along, v + t0 * beside)
    best = z0 + arc_over(radius, t0)
    while t0 < radius:
        step = min(next_line(u + t0 * along, along), next_line(v + t0 * beside, beside))
        t2 = min(t0 + step, radius)
        t1, half = 0.5 * (t0 + t2), 0.5 * (t2 - t0)
        z1 = height(world, layer, u + t1 * along, v + t1 * beside)
        z2 = height(world, layer, u + t2 * along, v + t2 * beside)
        if not math.isfinite(z0 + z1 + z2):
            return math.nan
        best = max(best, z2 + arc_over(radius, t2))
        rise = abs(0.5 * (z0 + z2) - z1)  # a parabola's ends and middle: nowhere is it higher than the highest and this
        if max(z0, z1, z2) + rise + arc_over(radius, min(max(0.0, t0), t2)) > best:
            slope, curve = 0.5 * (z2 - z0) / half, 0.5 * (z0 + z2 - 2.0 * z1) / (half * half)
            t = t1
            for _ in range(_TOUCHES):  # Newton, where the ground's slope is the rim's
                deep = math.sqrt(max(radius * radius - t * t, 1e-12))
                off = slope + 2.0 * curve * (t - t1) - t / deep
                t = min(max(t - off / min(2.0 * curve - radius * radius / (deep * deep * deep), -1e-9), t0), t2)
            best = max(best, z1 + (slope + curve * (t - t1)) * (t - t1) + arc_over(radius, t))
        t0, z0 = t2, z2
    return best


@kernel
def fit_on_piece(radius: float, z0: float, z1: float, s0: float, ds: float, t0: float, t1: float) -> float:
    """Highest level of a disc on the part t0 to t1 of a straight piece of ground, m.

    The piece rises from z0 to z1 while it goes from s0 on by ds along the wheel.
    """
    best = z0 + (z1 - z0) * t0 + arc_over(radius, s0 + ds * t0)
    best = max(best, z0 + (z1 - z0) * t1 + arc_over(radius, s0 + ds * t1))
    if abs(ds) > 1e-9:
        slope = (z1 - z0) / ds
        t = min(max((radius * slope / math.sqrt(1.0 + slope * slope) - s0) / ds, t0), t1)
        best = max(best, z0 + (z1 - z0) * t + arc_over(radius, s0 + ds * t))
    return best


@kernel
def crest_under(
    world: World, body: Body, layer: np.int64, x: float, y: float, c: float, s: float, east: np.int64
) -> float:
    """Level that a wheel stands at on the raster's lines that run east (1) or north (0) under its tyre, m.

    Bilinear levels have their crests there; minus infinity where no line is met, NaN where a level is not known.
    """
    u, v = (x - world.x0) / world.cell, (y - world.y0) / world.cell
    radius, half, cell = body.radius, body.tyre_half, world.cell
    wide, high = (radius * abs(c) + half * abs(s)) / cell, (radius * abs(s) + half * abs(c)) / cell
    best = -math.inf
    for row in range(int(math.floor(v - high)) + east, int(math.floor(v + high)) + 1):
        for col in range(int(math.floor(u - wide)) + 1 - east, int(math.floor(u + wide)) + 1):
            dx, dy = (col - u) * cell, (row - v) * cell
            ds, dt = (c * cell, -s * cell) if east else (s * cell, c * cell)
            s0 = dx * c + dy * s
            t0, t1 = clipped(0.0, 1.0, s0, ds, -radius, radius)
            t0, t1 = clipped(t0, t1, dy * c - dx * s, dt, -half, half)
            if t0 <= t1:
                z0 = height(world, layer, float(col), float(row))
                z1 = height(world, layer, float(col + east), float(row + 1 - east))
                if not math.isfinite(z0 + z1):
                    return math.nan
                best = max(best, fit_on_piece(radius, z0, z1, s0, ds, t0, t1))
    return best


@kernel
def rolled(world: World, body: Body, layer: np.int64, x: float, y: float, c: float, s: float) -> float:
    """Level that a wheel stands at, m: the highest of its disc at the middle of the tyre, at its edges, and on crests.
    """
    w = body.tyre_half
    left = rolled_on(world, layer, body.radius, x - w * s, y + w * c, c, s)
    right = rolled_on(world, layer, body.radius, x + w * s, y - w * c, c, s)
    middle = rolled_on(world, layer, body.radius, x, y, c, s)
    east = crest_under(world, body, layer, x, y, c, s, _EAST)
    north = crest_under(world, body, layer, x, y, c, s, _NORTH)
    if math.isnan(left + middle + right) or math.isnan(east) or math.isnan(north):
        return math.nan
    return max(left, middle, right, east, north)


@kernel
def wheel_levels(world: World, body: Body, poses: Floats, wider: float, found: Floats) -> None:
    """Fill ``found`` (n, 4) with the levels that the wheels stand at, at ``poses`` (n, 3: x, y, heading), m.

    Holes and raised features are met where they come within ``wider`` of a tyre's contact line, sideways.
    """
    for n in range(len(poses)):
        x, y, heading = poses[n]
        c, s = math.cos(heading), math.sin(heading)
        for i in range(4):
            xi, eta = body.wheel_xi[i], body.wheel_eta[i]
            hub_x, hub_y = x + xi * c - eta * s, y + xi * s + eta * c
            level, up = rolled(world, body, SURVEYED, hub_x, hub_y, c, s), -math.inf
            for m in range(len(world.features)):
                size = world.features[m, 4]
                far = outline_distance(world, world.features[m], hub_x, hub_y, c, s, 0.0, body.tyre_half + wider)
                if far <= body.radius:
                    clean = rolled(world, body, CLEAN, hub_x, hub_y, c, s)
                    if world.features[m, 5] == 0.0:
                        up = max(up, clean + max(0.0, size + arc_over(body.radius, far)))
                    elif far <= 0.0:
                        level = min(level, clean - size)
            found[n, i] = max(level, up) if math.isfinite(level) else math.nan


@kernel
def allowed_for(world: World, body: Body, poses: Floats, reach: float, found: Floats) -> None:
    """Fill ``found`` (n, 2) with the largest defect within a reach of a hub of the front axle, and of the rear one, m.

    At ``poses`` (n, 3: x, y, heading); see ``bounce.excess``.
    """
    for n in range(len(poses)):
        x, y, heading = poses[n]
        c, s = math.cos(heading), math.sin(heading)
        found[n, :] = 0.0
        for i in range(4):
            xi, eta = body.wheel_xi[i], body.wheel_eta[i]
            hub_x, hub_y = x + xi * c - eta * s, y + xi * s + eta * c
            worst = worst_within(world, hub_x, hub_y, reach)
            for m in range(len(world.features)):
                if outline_distance(world, world.features[m], hub_x, hub_y, c, s, 0.0, 0.0) <= reach:
                    worst = max(worst, world.features[m, 4])
            found[n, i // 2] = max(found[n, i // 2], worst)
