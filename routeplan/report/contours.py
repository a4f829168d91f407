"""Slope of the clean ground, and ground whose level nobody knows, as outlines in site metres."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from shapely import union_all
from shapely.geometry import MultiPolygon, Polygon, shape
from shapely.geometry.base import BaseGeometry

from routeplan.site.model import Ground

#: Slopes that get an outline, percent: falls of a yard, of a ramp, and two that most machines mind.
#: Common practice, no source.
SLOPES_PCT = (5.0, 8.0, 12.0, 20.0)
#: Half the size of hole and bump that the clean ground leaves out, and half the width of a slope's window, metres.
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
    reach = _reach(ground)
    rim = 4 * reach
    levels = np.pad(ground.z, rim, mode="reflect", reflect_type="odd")
    for sign in (1.0, -1.0, -1.0, 1.0):
        levels = _extreme(levels, reach, sign)
    return np.where(np.isnan(ground.z), np.nan, levels[rim:-rim, rim:-rim])


def _reach(ground: Ground) -> int:
    """Return how many nodes the clean ground, and a slope, take in to each side."""
    return max(1, round(_CLEAN_M / ground.cell_m))


def _extreme(levels: Array, reach: int, sign: float) -> Array:
    """Return the highest (sign 1) or lowest (sign -1) known level of the square round each node."""
    known = np.where(np.isnan(levels), -np.inf, sign * levels)
    found = ndimage.maximum_filter(known, size=2 * reach + 1, mode="nearest")
    return np.where(np.isneginf(found), np.nan, sign * found)


def horn_gradient(levels: Array, cell_m: float, *, stride: int) -> tuple[Array, Array]:
    """Return Horn's slope of levels towards east and towards north, metres per metre.

    Parameters
    ----------
    levels
        ``(rows, columns)``, metres, row 0 in the south, NaN where unknown.
    cell_m
        From node to node, metres.
    stride
        Nodes from the middle of the window of nine levels to the levels beside it.

    Returns
    -------
    tuple of ndarray
        Each as large as ``levels``; NaN where the middle, or a level of the window that counts, is unknown.

    Notes
    -----
    B. K. P. Horn, Hill shading and the reflectance map, Proceedings of the IEEE 69 (1981): the differences across the
    three lines of the window, weighted 1 2 1. Beyond the raster the levels go on as they fell, so that a plane has its
    slope up to the corners.
    """
    window = np.zeros((2 * stride + 1, 2 * stride + 1))
    window[::stride, ::stride] = np.outer((1.0, 2.0, 1.0), (-1.0, 0.0, 1.0))
    padded = np.pad(levels, stride, mode="reflect", reflect_type="odd")
    rises = (ndimage.correlate(padded, weights)[stride:-stride, stride:-stride] for weights in (window, window.T))
    east, north = (np.where(np.isnan(levels), np.nan, rise / (8.0 * stride * cell_m)) for rise in rises)
    return east, north


def slope_pct(ground: Ground) -> Array:
    """Return the steepest slope of the clean ground at each node, percent, by Horn's window; NaN where unknown.

    The window is about a metre wide; where nodes stand half a metre apart or further, it is the eight nodes round each.
    """
    east, north = horn_gradient(clean_levels(ground), ground.cell_m, stride=_reach(ground))
    return np.asarray(100.0 * np.hypot(east, north))


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
