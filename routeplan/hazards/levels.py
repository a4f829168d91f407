"""The levels themselves over small rectangles, for a closer look: exact bounds on where a wheel may stand."""

from __future__ import annotations

import math

import numpy as np

from routeplan.hazards.arrays import Body, Floats, World
from routeplan.hazards.clearance import in_frame, segment_box
from routeplan.kernel import kernel

#: Layers of ``World.levels``. Not plain integers: for each value of those numba compiles what they are given to anew.
SURVEYED, CLEAN = np.int64(0), np.int64(1)
#: Parts of half a wheel's length: those that bound its level from above, and the places that do from below.
PARTS, PLACES = 8, 4
#: Features farther away than this change nothing, m.
FAR_OFF_M = 3.5


@kernel
def height(world: World, layer: np.int64, u: float, v: float) -> float:
    """Bilinear level at fractional column u and row v, m; NaN where a neighbour that counts is unknown, and outside."""
    rows, cols = world.levels.shape[1:]
    if not (0.0 <= u <= cols - 1.0 and 0.0 <= v <= rows - 1.0):
        return math.nan
    c, r = min(int(u), cols - 2), min(int(v), rows - 2)
    fu, fv = u - c, v - r
    z = world.levels
    south: float = z[layer, r, c] if fu == 0.0 else (1.0 - fu) * z[layer, r, c] + fu * z[layer, r, c + 1]
    if fv == 0.0:
        return south
    north = z[layer, r + 1, c] if fu == 0.0 else (1.0 - fu) * z[layer, r + 1, c] + fu * z[layer, r + 1, c + 1]
    level: float = (1.0 - fv) * south + fv * north
    return level


@kernel
def extremes(
    world: World, layer: np.int64, x: float, y: float, wide: float, high: float, level: float, east: float, north: float
) -> tuple[float, float]:
    """Lowest and highest of the levels over a plane within a rectangle about (x, y), half sides east and north, m.

    The plane has a level at (x, y) and a gradient. Levels less a plane are linear along the lines of the raster and
    those along it, so that the corners of what the raster cuts the rectangle into are enough; NaN if one is unknown.
    """
    u, v = (x - world.x0) / world.cell, (y - world.y0) / world.cell
    du, dv = wide / world.cell, high / world.cell
    lowest, highest = math.inf, -math.inf
    row = v - dv
    while True:
        col = u - du
        while True:
            above = height(world, layer, col, row) - level - (east * (col - u) + north * (row - v)) * world.cell
            if not math.isfinite(above):
                return math.nan, math.nan
            lowest, highest = min(lowest, above), max(highest, above)
            if col >= u + du:
                break
            col = min(math.floor(col) + 1.0, u + du)
        if row >= v + dv:
            break
        row = min(math.floor(row) + 1.0, v + dv)
    return lowest, highest


@kernel
def arc_over(radius: float, t: float) -> float:
    """How far a disc's rim stays above its lowest point at a distance from its middle, negative, m."""
    return math.sqrt(max(radius * radius - t * t, 0.0)) - radius


@kernel
def standing_level(world: World, body: Body, hub_x: float, hub_y: float, c: float, s: float) -> float:
    """About the level that a wheel stands at; ``wheel_span`` says how far it may be from there."""
    best = -math.inf
    for n in range(-8, 9):
        t = body.radius * n / 8
        for side in range(-1, 2):
            w = side * body.tyre_half
            x, y = hub_x + t * c - w * s, hub_y + t * s + w * c
            z = height(world, SURVEYED, (x - world.x0) / world.cell, (y - world.y0) / world.cell)
            if not math.isfinite(z):
                return math.nan
            best = max(best, z + arc_over(body.radius, t))
    return best


@kernel
def wheel_span(
    world: World, body: Body, layer: np.int64, hub_x: float, hub_y: float, c: float, s: float, level: float,
    pitch: float, roll: float, ahead: float, aside: float, turned: float,
) -> tuple[float, float]:
    """Lowest and highest that a wheel may stand over a plane, m, within a rectangle of places about its hub.

    The plane has a level at the hub and slopes along the wheel and across it. ``ahead`` and ``aside`` are half the
    rectangle's sides, ``turned`` how far the wheel may be turned from its heading (cosine c, sine s). The ground is
    told from a plane of its own slope, which parts from the other evenly.
    """
    radius, half = body.radius, body.tyre_half
    along, across = ground_slopes(world, layer, hub_x, hub_y, c, s, radius)
    east, north = along * c - across * s, along * s + across * c
    lowest = highest = -math.inf
    # From above: wherever the wheel is, each part of it lies in a rectangle, at most the ground there and its arc high.
    best = radius * along / math.sqrt(1.0 + along * along)
    for n in range(-PARTS, PARTS):
        t0, t1 = radius * n / PARTS, radius * (n + 1) / PARTS
        t, far = 0.5 * (t0 + t1), max(abs(t0), abs(t1))
        long, broad = ahead + 0.5 * (t1 - t0) + half * turned, aside + half + far * turned
        wide, high = long * abs(c) + broad * abs(s), long * abs(s) + broad * abs(c)
        _, top = extremes(world, layer, hub_x + t * c, hub_y + t * s, wide, high, level + along * t, east, north)
        fit = min(max(best, t0), t1)
        lean = abs(across) * half + (abs(along) * half + abs(across) * far) * turned
        part = top + along * fit + arc_over(radius, fit) + lean
        highest = part if not part <= highest else highest  # what is not known stays so
    # From below: it stands at least as high as at any one place of it.
    for n in range(-PLACES, PLACES + 1):
        t = radius * n / PLACES
        long, broad = ahead + half * turned, aside + abs(t) * turned
        wide, high = long * abs(c) + broad * abs(s), long * abs(s) + broad * abs(c)
        lean = (abs(along) * half + abs(across * t)) * turned
        for side in range(-1, 2):
            w = side * half
            rise = along * t + across * w
            x, y = hub_x + t * c - w * s, hub_y + t * s + w * c
            low, _ = extremes(world, layer, x, y, wide, high, level + rise, east, north)
            lowest = max(lowest, low + rise + arc_over(radius, t) - lean)
    parted = abs(along - pitch) * ahead + abs(across - roll) * aside
    return lowest - parted, highest + parted


@kernel
def ground_slopes(
    world: World, layer: np.int64, x: float, y: float, c: float, s: float, reach: float
) -> tuple[float, float]:
    """About how steep the ground is at a place, along a heading and across it; NaN where it is not known."""
    u, v, step = (x - world.x0) / world.cell, (y - world.y0) / world.cell, reach / world.cell
    ahead = height(world, layer, u + step * c, v + step * s) - height(world, layer, u - step * c, v - step * s)
    aside = height(world, layer, u - step * s, v + step * c) - height(world, layer, u + step * s, v - step * c)
    return 0.5 * ahead / reach, 0.5 * aside / reach


@kernel
def outline_distance(
    world: World, feature: Floats, x: float, y: float, c: float, s: float, ahead: float, aside: float
) -> float:
    """Distance of a feature's outline to a rectangle about (x, y), half sides along a heading and across it, m.

    It is 0 where they meet, and more than ``FAR_OFF_M`` means "at least".
    """
    reach = ahead + aside + FAR_OFF_M
    if x < feature[0] - reach or y < feature[1] - reach or x > feature[2] + reach or y > feature[3] + reach:
        return 2.0 * FAR_OFF_M
    least, inside = math.inf, False
    for n in range(int(feature[6]), int(feature[7])):
        u0, v0, u1, v1 = in_frame(world.outlines[n], x, y, c, s)
        least = min(least, segment_box(u0, v0, u1, v1, -ahead, ahead, -aside, aside))
        if (v0 > 0.0) != (v1 > 0.0) and u0 + (u1 - u0) * v0 / (v0 - v1) > 0.0:
            inside = not inside
    return 0.0 if inside else least


@kernel
def worst_within(world: World, x: float, y: float, reach: float) -> float:
    """Largest difference between levels and clean ground at a node within a reach of a place, m."""
    rows, cols = world.levels.shape[1:]
    u, v, far = (x - world.x0) / world.cell, (y - world.y0) / world.cell, reach / world.cell
    worst = 0.0
    for row in range(max(int(math.ceil(v - far)), 0), min(int(v + far), rows - 1) + 1):
        half = math.sqrt(max(far * far - (row - v) * (row - v), 0.0))
        for col in range(max(int(math.ceil(u - half)), 0), min(int(u + half), cols - 1) + 1):
            off = abs(world.levels[SURVEYED, row, col] - world.levels[CLEAN, row, col])
            worst = off if off > worst else worst
    return worst
