"""Spans that the ground near each node keeps to, so that one look-up stands for every place of a wheel in the tube."""

from __future__ import annotations

import math

import numpy as np

from routeplan.hazards.arrays import Floats, Floats32, Ints
from routeplan.kernel import kernel

SECTORS = 8


@kernel
def bilinear(z: Floats, u: float, v: float) -> float:
    """Level at fractional (row u, col v), the grid's edge drawn outwards; NaN where a neighbour that counts is
    unknown.
    """
    rows, cols = z.shape
    u, v = min(max(u, 0.0), rows - 1.0), min(max(v, 0.0), cols - 1.0)
    r, c = min(int(u), rows - 2), min(int(v), cols - 2)
    fu, fv = u - r, v - c
    south: float = z[r, c] if fv == 0.0 else (1.0 - fv) * z[r, c] + fv * z[r, c + 1]
    if fu == 0.0:
        return south
    north = z[r + 1, c] if fv == 0.0 else (1.0 - fv) * z[r + 1, c] + fv * z[r + 1, c + 1]
    level: float = (1.0 - fu) * south + fu * north
    return level


@kernel
def window_span(z: Floats, gx: float, gy: float, cell: float, row: int, col: int, reach: float) -> tuple[float, float]:
    """Lowest and highest ground against the local plane within a square of half side ``reach``.

    Taken over every node of every raster cell that the square touches, so the span holds for the bilinear ground too.
    """
    rows, cols = z.shape
    n = int(math.ceil(reach / cell))
    low, high = 0.0, 0.0
    for r in range(max(row - n, 0), min(row + n + 1, rows)):
        for c in range(max(col - n, 0), min(col + n + 1, cols)):
            d = z[r, c] - z[row, col] - (gx * (c - col) + gy * (r - row)) * cell
            if not math.isfinite(d):
                return math.nan, math.nan
            low, high = min(low, d), max(high, d)
    return low, high


@kernel
def disc_levels(z: Floats, cell: float, angle: float, radius: float, out: Floats) -> None:
    """Rolling-disc level at every node for a wheel heading at an angle; NaN where a level under the disc is unknown."""
    rows, cols = z.shape
    n = max(int(math.ceil(2.0 * radius / cell)), 2)
    du, dv = math.sin(angle) / cell, math.cos(angle) / cell
    for row in range(rows):
        for col in range(cols):
            level = z[row, col]
            for k in range(-n, n + 1):
                t = radius * k / n
                raised = math.sqrt(max(radius * radius - t * t, 0.0)) - radius
                ground = bilinear(z, row + t * du, col + t * dv)
                if not ground + raised <= level:
                    level = ground + raised if math.isfinite(ground) else math.nan
                    if not math.isfinite(level):
                        break
            out[row, col] = level


@kernel
def window_nodes(angle: float, wide: float, long: float, cell: float, offsets: Ints) -> int:
    """List the node offsets (row, col) in an oriented window (half sides along and across the heading); returns
    how many.
    """
    ca, sa = math.cos(angle), math.sin(angle)
    n = int(math.ceil(math.hypot(wide, long) / cell))
    count = 0
    for r in range(-n, n + 1):
        for c in range(-n, n + 1):
            x, y = c * cell, r * cell
            if abs(x * ca + y * sa) <= long and abs(y * ca - x * sa) <= wide:
                offsets[count, 0], offsets[count, 1] = r, c
                count += 1
    return count


@kernel
def wheel_fields(
    z: Floats,
    gx: Floats,
    gy: Floats,
    cell: float,
    wide: float,
    long: float,
    radius: float,
    low: Floats32,
    high: Floats32,
) -> None:
    """Fill ``low`` and ``high`` (SECTORS, rows, cols) with the span of wheel levels against the local plane.

    The window of a sector holds every place of a wheel in the tube, for headings within half a sector, and the nodes
    around it, so that what lies between nodes is spanned too.
    """
    rows, cols = z.shape
    slip = math.sin(0.5 * math.pi / SECTORS)
    around = 0.5 * cell
    wide_all, long_all = wide + (long + radius) * slip + around, long + wide * slip + around
    room = 2 * int(math.ceil(math.hypot(wide_all, long_all) / cell)) + 1
    offsets = np.empty((room * room, 2), np.int64)
    disc = np.empty_like(z)
    for j in range(SECTORS):
        angle = j * math.pi / SECTORS
        disc_levels(z, cell, angle, radius, disc)
        count = window_nodes(angle, wide_all, long_all, cell, offsets)
        for row in range(rows):
            for col in range(cols):
                lowest, highest = math.inf, -math.inf
                ax, ay, base = gx[row, col] * cell, gy[row, col] * cell, z[row, col]
                for n in range(count):
                    r, c = row + offsets[n, 0], col + offsets[n, 1]
                    if r < 0 or c < 0 or r >= rows or c >= cols:
                        continue  # beyond the levels is beyond the boundary, where no wheel goes
                    d = disc[r, c] - base - ax * offsets[n, 1] - ay * offsets[n, 0]
                    if not math.isfinite(d):
                        lowest = highest = math.nan
                        break
                    lowest, highest = min(lowest, d), max(highest, d)
                low[j, row, col], high[j, row, col] = lowest - 1e-6, highest + 1e-6


@kernel
def under_field(z: Floats, gx: Floats, gy: Floats, cell: float, reach: float, under: Floats32) -> None:
    """Fill ``under`` (rows, cols) with the highest ground above the local plane within ``reach`` of each node; NaN
    if unknown.
    """
    rows, cols = z.shape
    for row in range(rows):
        for col in range(cols):
            _, top = window_span(z, gx[row, col], gy[row, col], cell, row, col, reach)
            under[row, col] = top
