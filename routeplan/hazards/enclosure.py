"""Spans that the ground near each node keeps to, so that one look-up stands for every place of a wheel in the tube."""

from __future__ import annotations

import math

from routeplan.hazards.arrays import Floats, Floats32
from routeplan.kernel import kernel

SECTORS = 8


@kernel
def bilinear(z: Floats, u: float, v: float) -> float:
    """Level at fractional (row u, col v), the grid's edge drawn outwards; NaN where a neighbour that counts is unknown."""
    rows, cols = z.shape
    u, v = min(max(u, 0.0), rows - 1.0), min(max(v, 0.0), cols - 1.0)
    r, c = min(int(u), rows - 2), min(int(v), cols - 2)
    fu, fv = u - r, v - c
    south = z[r, c] if fv == 0.0 else (1.0 - fv) * z[r, c] + fv * z[r, c + 1]
    if fu == 0.0:
        return south
    north = z[r + 1, c] if fv == 0.0 else (1.0 - fv) * z[r + 1, c] + fv * z[r + 1, c + 1]
    return (1.0 - fu) * south + fu * north


@kernel
def window_span(z: Floats, gx: float, gy: float, cell: float, row: int, col: int, reach: float) -> tuple[float, float, float]:
    """Lowest and highest ground against the local plane within a square of half side ``reach``, and its steepest step.

    Taken over every node of every raster cell that the square touches, so the span holds for the bilinear ground too.
    """
    rows, cols = z.shape
    n = int(math.ceil(reach / cell))
    low, high, steep = 0.0, 0.0, 0.0
    for r in range(row - n, row + n + 1):
        for c in range(col - n, col + n + 1):
            if r < 0 or c < 0 or r >= rows or c >= cols:
                continue  # beyond the levels is beyond the boundary, where no wheel and no body goes
            d = z[r, c] - z[row, col] - (gx * (c - col) + gy * (r - row)) * cell
            if not math.isfinite(d):
                return math.nan, math.nan, math.nan
            low, high = min(low, d), max(high, d)
            if c > max(col - n, 0) and math.isfinite(z[r, c - 1]):
                steep = max(steep, abs(z[r, c] - z[r, c - 1] - gx * cell))
            if r > max(row - n, 0) and math.isfinite(z[r - 1, c]):
                steep = max(steep, abs(z[r, c] - z[r - 1, c] - gy * cell))
    return low, high, steep / cell


@kernel
def wheel_span(
    z: Floats, gx: float, gy: float, cell: float, row: int, col: int, angle: float, wide: float, long: float, radius: float,
    step: float,
) -> tuple[float, float]:
    """Lowest and highest rolling-disc level against the local plane over an oriented window (half sides wide, long)."""
    ca, sa = math.cos(angle), math.sin(angle)
    n_wide, n_long, n_disc = int(math.ceil(wide / step)), int(math.ceil(long / step)), int(math.ceil(radius / step))
    low, high = math.inf, -math.inf
    for i in range(-n_wide, n_wide + 1):
        across = wide * i / n_wide
        for j in range(-n_long, n_long + 1):
            ahead = long * j / n_long
            disc = -math.inf
            for k in range(-n_disc, n_disc + 1):
                t = radius * k / n_disc
                dx, dy = (ahead + t) * ca - across * sa, (ahead + t) * sa + across * ca
                ground = bilinear(z, row + dy / cell, col + dx / cell) - z[row, col]
                if not math.isfinite(ground):
                    return math.nan, math.nan
                disc = max(disc, ground + math.sqrt(max(radius * radius - t * t, 0.0)) - radius)
            plane = gx * (ahead * ca - across * sa) + gy * (ahead * sa + across * ca)
            low, high = min(low, disc - plane), max(high, disc - plane)
    return low, high


@kernel
def wheel_fields(
    z: Floats, gx: Floats, gy: Floats, cell: float, wide: float, long: float, radius: float, flat: float,
    low: Floats32, high: Floats32,
) -> None:
    """Fill ``low`` and ``high`` (SECTORS, rows, cols); oriented windows where the isotropic one spans more than ``flat``.

    Between the samples of an oriented window the bilinear ground may lie beyond them by a quarter of a step's rise.
    """
    rows, cols = z.shape
    slip = math.sin(0.5 * math.pi / SECTORS + math.radians(2.0))
    wide_all, long_all = wide + (long + radius) * slip, long + wide * slip
    reach = math.hypot(wide_all, long_all + radius)
    step = min(cell / 2.0, 0.1)
    for row in range(rows):
        for col in range(cols):
            bottom, top, steep = window_span(z, gx[row, col], gy[row, col], cell, row, col, reach)
            curl = 0.5 * radius * (gx[row, col] ** 2 + gy[row, col] ** 2)  # a disc on a plane stands this much higher
            if not top - bottom > flat:
                for j in range(SECTORS):
                    low[j, row, col], high[j, row, col] = bottom, top + curl
                continue
            spare = 0.25 * step * steep + 1e-6
            for j in range(SECTORS):
                lowest, highest = wheel_span(
                    z, gx[row, col], gy[row, col], cell, row, col, j * math.pi / SECTORS, wide_all, long_all, radius, step
                )
                low[j, row, col], high[j, row, col] = lowest - spare, highest + spare


@kernel
def under_field(z: Floats, gx: Floats, gy: Floats, cell: float, reach: float, under: Floats32) -> None:
    """Fill ``under`` (rows, cols) with the highest ground above the local plane within ``reach`` of each node; NaN if unknown."""
    rows, cols = z.shape
    for row in range(rows):
        for col in range(cols):
            _, top, _ = window_span(z, gx[row, col], gy[row, col], cell, row, col, reach)
            under[row, col] = top
