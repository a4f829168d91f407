"""Slope of the clean ground, and ground whose level nobody knows, as outlines in site metres."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from shapely import union_all
from shapely.geometry import MultiPolygon, Polygon, shape
from shapely.geometry.base import BaseGeometry

from routeplan.site.model import Ground

#: Slopes that get an outline, percent: falls of a yard, of a ramp, and two that most machines mind.
#: Common practice, no source.
SLOPES_PCT = (5.0, 8.0, 12.0, 20.0)
#: Size of hole and bump that the clean ground leaves out, and half the length that a slope is taken over, metres.
_CLEAN_M = 0.5
_DRAWN_CELL_M = 1.0
_DRAWN_CELLS = 160_000
#: Patches smaller than this many drawn cells are roughness, not a slope.
_SMALLEST_CELLS = 3.0

Array = NDArray[np.float64]


def clean_levels(ground: Ground) -> Array:
    """Return the levels without holes and bumps up to about a metre across; NaN stays NaN.

    Notes
    -----
    Closing, then opening, by a square of (2n + 1)^2 nodes, n = max(1, round(0.5 m / cell)): section 3 of
    ``docs/method.md``. Beyond the raster the levels go on as they fell, so that a slope is not flattened at its edge.
    """
    reach = max(1, round(_CLEAN_M / ground.cell_m))
    rim = 4 * reach
    levels = np.pad(ground.z, rim, mode="reflect", reflect_type="odd")
    closed = _extreme(_extreme(levels, reach, np.fmax), reach, np.fmin)
    opened = _extreme(_extreme(closed, reach, np.fmin), reach, np.fmax)[rim:-rim, rim:-rim]
    return np.where(np.isnan(ground.z), np.nan, opened)


def _extreme(levels: Array, reach: int, pick: Callable[[Array, Array], Array]) -> Array:
    """Return the largest or smallest known level of the square round each node."""
    result = levels
    for axis in (0, 1):
        picked = result.copy()
        size = result.shape[axis]
        for shift in range(1, min(reach, size - 1) + 1):
            near = [slice(None), slice(None)]
            far = [slice(None), slice(None)]
            near[axis], far[axis] = slice(0, size - shift), slice(shift, size)
            low, high = tuple(near), tuple(far)
            picked[low] = pick(picked[low], result[high])
            picked[high] = pick(picked[high], result[low])
        result = picked
    return result


def slope_pct(ground: Ground) -> Array:
    """Return the steepest slope of the clean ground at each node, percent, taken over a metre; NaN where unknown."""
    levels = clean_levels(ground)
    reach = max(1, round(_CLEAN_M / ground.cell_m))
    falls = []
    for axis in (0, 1):
        index = np.arange(levels.shape[axis])
        low, high = np.maximum(index - reach, 0), np.minimum(index + reach, levels.shape[axis] - 1)
        span_m = np.maximum(high - low, 1) * ground.cell_m
        rise = np.take(levels, high, axis) - np.take(levels, low, axis)
        falls.append(rise / (span_m[:, None] if axis == 0 else span_m[None, :]))
    return np.asarray(100.0 * np.hypot(falls[0], falls[1]), dtype=np.float64)


def slope_outlines(ground: Ground, boundary: Polygon) -> tuple[tuple[float, BaseGeometry], ...]:
    """Return, for each slope of ``SLOPES_PCT``, the ground that is at least that steep, inside the boundary.

    A drawn cell is as steep as the steepest node in it. Slopes that occur nowhere are left out.
    """
    block = _block(ground)
    slopes = _blockwise(slope_pct(ground), block, np.fmax.reduce)
    outlines = []
    for limit_pct in SLOPES_PCT:
        area = _outline(np.nan_to_num(slopes, nan=0.0) >= limit_pct, ground, block)
        if not (kept := area.intersection(boundary)).is_empty:
            outlines.append((limit_pct, kept))
    return tuple(outlines)


def unknown_outline(ground: Ground, boundary: Polygon) -> BaseGeometry:
    """Return the part of the boundary where a level is missing or the raster does not reach."""
    block = _block(ground)
    missing = _blockwise(np.isnan(ground.z).astype(np.float64), block, np.fmax.reduce) > 0.0
    rows, cols = ground.z.shape
    east, north = ground.x_min + (cols - 1) * ground.cell_m, ground.y_min + (rows - 1) * ground.cell_m
    covered = Polygon(((ground.x_min, ground.y_min), (east, ground.y_min), (east, north), (ground.x_min, north)))
    return union_all([boundary.difference(covered), _cells(missing, ground, block).intersection(boundary)])


def _block(ground: Ground) -> int:
    """Return how many nodes a drawn cell is wide, so that a large site stays a small drawing."""
    wanted = max(_DRAWN_CELL_M / ground.cell_m, math.sqrt(ground.z.size / _DRAWN_CELLS))
    return max(1, math.ceil(wanted - 1e-9))


def _blockwise(values: Array, block: int, reduce: Callable[..., Array]) -> Array:
    rows, cols = values.shape
    padded = np.pad(values, ((0, -rows % block), (0, -cols % block)), constant_values=np.nan)
    by_rows = reduce(padded.reshape(-1, block, padded.shape[1]), axis=1)
    return reduce(by_rows.reshape(by_rows.shape[0], -1, block), axis=2)


def _cells(chosen: NDArray[np.bool_], ground: Ground, block: int) -> BaseGeometry:
    """Return the chosen drawn cells as one geometry."""
    from rasterio.features import shapes
    from rasterio.transform import Affine

    size_m = block * ground.cell_m
    half_m = ground.cell_m / 2.0
    transform = Affine(size_m, 0.0, ground.x_min - half_m, 0.0, size_m, ground.y_min - half_m)
    found = shapes(chosen.astype(np.uint8), mask=chosen, transform=transform)
    return union_all([shape(outline) for outline, _ in found]) if chosen.any() else MultiPolygon()


def _outline(chosen: NDArray[np.bool_], ground: Ground, block: int) -> BaseGeometry:
    """Return the chosen cells with their stairs smoothed, without single rough spots."""
    size_m = block * ground.cell_m
    merged = _cells(chosen, ground, block).buffer(0.6 * size_m, quad_segs=2).buffer(-0.6 * size_m, quad_segs=2)
    parts = getattr(merged, "geoms", (merged,))
    kept = [part for part in parts if part.area >= _SMALLEST_CELLS * size_m**2]
    return union_all([part.simplify(0.6 * size_m).buffer(0) for part in kept]) if kept else MultiPolygon()
