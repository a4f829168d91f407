"""Spans that the ground near each node keeps to, so that one look-up stands for every place of a wheel in the tube."""

from __future__ import annotations

import math

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
def row_spans(
    disc: Floats, z: Floats, gx: Floats, gy: Floats, cell: float, row: int, offsets: Ints, spans: Floats
) -> None:
    """Fill ``spans`` (3, cols): lowest and highest of ``disc`` against the local plane of each node of a row; doubt.

    Nodes beyond the levels are left out: they are beyond the boundary, where no wheel goes. The third row is NaN
    where a level is not known, else 0.
    """
    rows, cols = z.shape
    spans[0], spans[1], spans[2] = math.inf, -math.inf, 0.0
    for n in range(offsets.shape[0]):
        dr, dc = offsets[n, 0], offsets[n, 1]
        if row + dr < 0 or row + dr >= rows:
            continue
        for col in range(max(0, -dc), min(cols, cols - dc)):
            d = disc[row + dr, col + dc] - z[row, col] - (gx[row, col] * dc + gy[row, col] * dr) * cell
            low, high = spans[0, col], spans[1, col]
            spans[0, col] = low if d > low else d
            spans[1, col] = high if d < high else d
            spans[2, col] += d - d  # stays 0 until a level is not known


@kernel
def sector_field(
    z: Floats,
    gx: Floats,
    gy: Floats,
    cell: float,
    angle: float,
    offsets: Ints,
    radius: float,
    disc: Floats,
    spans: Floats,
    low: Floats32,
    high: Floats32,
) -> None:
    """Fill ``low`` and ``high`` (rows, cols) with the span of wheel levels over the nodes ``offsets`` around each.

    ``disc`` (rows, cols) and ``spans`` (3, cols) are room to work in.
    """
    disc_levels(z, cell, angle, radius, disc)
    for row in range(z.shape[0]):
        row_spans(disc, z, gx, gy, cell, row, offsets, spans)
        for col in range(z.shape[1]):
            low[row, col] = spans[0, col] - 1e-6 + spans[2, col]
            high[row, col] = spans[1, col] + 1e-6 + spans[2, col]


@kernel
def under_field(z: Floats, gx: Floats, gy: Floats, cell: float, reach: float, under: Floats32) -> None:
    """Fill ``under`` (rows, cols) with the highest ground above the local plane within ``reach`` of each node; NaN if
    unknown.
    """
    rows, cols = z.shape
    for row in range(rows):
        for col in range(cols):
            _, top = window_span(z, gx[row, col], gy[row, col], cell, row, col, reach)
            under[row, col] = top
