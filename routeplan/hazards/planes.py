"""A plane for each block of about a metre, and how far the ground and what is overhead may lie from it."""

from __future__ import annotations

import math

from routeplan.hazards.arrays import Floats, Floats32, Ints, Records
from routeplan.kernel import kernel

# Columns of a block's summary: spans against its plane, and the largest of what only counts upwards.
HIGH, MINUS_LOW, TILT, HUMP, DEVIATION, DEFECT, RAISED, CEILING = range(8)
SUMMARY = 8


@kernel
def fit_planes(z: Floats, cell: float, size: int, half: int, planes: Floats) -> None:
    """Fill ``planes`` (block rows, block cols, 3): level at the middle node, gradient east and north; or NaN."""
    rows, cols = z.shape
    for i in range(planes.shape[0]):
        for j in range(planes.shape[1]):
            row, col = i * size + size // 2, j * size + size // 2
            planes[i, j] = math.nan
            n = min(half, row, col, rows - 1 - row, cols - 1 - col)
            if n < 1:
                continue
            total = east = north = square = 0.0
            for r in range(-n, n + 1):
                for c in range(-n, n + 1):
                    level = z[row + r, col + c]
                    total, east, north, square = total + level, east + c * level, north + r * level, square + c * c
            planes[i, j, 0] = total / (2 * n + 1) ** 2
            planes[i, j, 1], planes[i, j, 2] = east / square / cell, north / square / cell


@kernel
def summarise(
    planes: Floats,
    size: int,
    cell: float,
    level: Floats,
    gx: Floats,
    gy: Floats,
    spans: Records,
    under: Floats32,
    fields: Floats32,
    soffit: Floats,
    summary: Floats,
) -> None:
    """Fill ``summary`` (block rows, block cols, SUMMARY) with the largest of each column over the block's own nodes.

    ``fields`` (3, rows, cols): deviation, defect, raised; ``soffit`` (rows, cols): lowest less k sigma.
    """
    rows, cols = level.shape
    for i in range(planes.shape[0]):
        for j in range(planes.shape[1]):
            mine, plane = summary[i, j], planes[i, j]
            mine[:] = -math.inf
            for row in range(i * size, min((i + 1) * size, rows)):
                for col in range(j * size, min((j + 1) * size, cols)):
                    known = under[row, col]
                    tilt = abs(gx[row, col] - plane[1]) + abs(gy[row, col] - plane[2])
                    east, north = col - j * size - size // 2, row - i * size - size // 2
                    base = plane[0] + (east * plane[1] + north * plane[2]) * cell
                    above, spare = level[row, col] - base, 0.5 * cell * tilt
                    mine[TILT] = max(mine[TILT], tilt)
                    for k in range(spans.shape[0]):
                        known += spans[k, row, col].high + spans[k, row, col].low
                        mine[HIGH] = max(mine[HIGH], above + spans[k, row, col].high + spare)
                        mine[MINUS_LOW] = max(mine[MINUS_LOW], spare - above - spans[k, row, col].low)
                    mine[HUMP] = max(mine[HUMP], above + under[row, col] + spare)
                    for k in range(3):
                        mine[DEVIATION + k] = max(mine[DEVIATION + k], fields[k, row, col])
                    mine[CEILING] = max(mine[CEILING], base - soffit[row, col])
                    if not math.isfinite(above + known):
                        mine[:] = math.nan
                        break
                if math.isnan(mine[0]):
                    break


@kernel
def gathered(planes: Floats, summary: Floats, block_m: float, offsets: Ints, wheels: int, out: Floats) -> None:
    """Fill ``out`` like ``summary`` with the largest over the blocks around each, carried onto its own plane.

    ``offsets`` (n, 2) are the blocks within the body's reach, nearest first, the first ``wheels`` within the wheels';
    what lies beyond the levels, or is not known, makes NaN.
    """
    rows, cols, _ = summary.shape
    for i in range(rows):
        for j in range(cols):
            mine, plane = out[i, j], planes[i, j]
            mine[:] = -math.inf
            for n in range(offsets.shape[0]):
                r, c = i + offsets[n, 0], j + offsets[n, 1]
                if r < 0 or c < 0 or r >= rows or c >= cols or not math.isfinite(summary[r, c, HUMP] + plane[0]):
                    mine[:] = math.nan
                    break
                theirs = planes[r, c]
                lift = theirs[0] - plane[0] - (offsets[n, 1] * plane[1] + offsets[n, 0] * plane[2]) * block_m
                turn = abs(theirs[1] - plane[1]) + abs(theirs[2] - plane[2])
                spare = 0.5 * block_m * turn
                mine[TILT] = max(mine[TILT], summary[r, c, TILT] + turn)
                mine[HUMP] = max(mine[HUMP], summary[r, c, HUMP] + lift + spare)
                mine[CEILING] = max(mine[CEILING], summary[r, c, CEILING] + lift + spare)
                if n < wheels:
                    mine[HIGH] = max(mine[HIGH], summary[r, c, HIGH] + lift + spare)
                    mine[MINUS_LOW] = max(mine[MINUS_LOW], summary[r, c, MINUS_LOW] - lift + spare)
                    for k in range(DEVIATION, RAISED + 1):
                        mine[k] = max(mine[k], summary[r, c, k])
