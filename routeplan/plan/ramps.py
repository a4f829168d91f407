"""Ramps found from the levels: strips of ground steeper than the site, that lead one way up and are no bank."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry.base import BaseGeometry

from routeplan.hazards.terrain import Terrain

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
#: Rows and columns of a piece of ground.
Strip = tuple[NDArray[np.intp], NDArray[np.intp]]

#: A ramp is steeper than the middle slope of the site by this much, as a ratio: yards fall by up to 1 in 40 to drain
#: (common practice, no source).
STEEPER = 0.03
#: Ground is looked at up to each of these slopes in turn: a ramp beside a steeper bank stands alone below one of them.
#: Nothing that lifts people drives up the steepest (common practice, no source).
STEEPEST = (0.50, 0.25, 0.15)
#: Parts of a strip narrower than this are the rounded foot or crest of something steeper, m.
NARROWEST_M = 1.5
#: A ramp is at least this long and rises at least this much, m; survey noise does not.
SHORTEST_M, LEAST_RISE_M = 2.0, 0.2
#: It is at most this wide, m, and so many times as wide as long: a bank is wider.
WIDEST_M, MOST_WIDE = 40.0, 3.0
#: It fills this much of the rectangle round it (a strip that is wider at its foot fills half), and leads one way: the
#: mean of its directions, each of length 1, is at least so long. A mound leads every way; a bend of a quarter circle
#: still passes.
FILLED, ONE_WAY = 0.4, 0.9
#: What lies within this of an end, m, says where the middle of the end is.
END_M = 1.0


@dataclass(frozen=True)
class Ramp:
    """A ramp: the middles of its foot and its head, the direction straight up (rad), and half its width, m."""

    foot: tuple[float, float]
    head: tuple[float, float]
    heading: float
    half_m: float


def ramps_of(free: BaseGeometry, terrain: Terrain) -> list[Ramp]:
    """Ramps of a site on the ground that nothing stands on, each once."""
    slope = np.hypot(terrain.gx, terrain.gy)
    steep = _steep(free, terrain, slope)
    found: list[Ramp] = []
    taken = np.zeros(slope.shape, bool)
    for most in STEEPEST:
        for strip in _strips(steep & (slope <= most), terrain):
            ramp = None if taken[strip].any() else _ramp(strip, terrain)
            if ramp is not None:
                taken[strip] = True
                found.append(ramp)
    return found


def _steep(free: BaseGeometry, terrain: Terrain, slope: Floats) -> Bools:
    """Free ground steeper than the site's, out of reach of what slopes are smoothed over: unknown levels, steps."""
    broken = ~np.isfinite(terrain.level)
    for axis in (0, 1):
        step = np.abs(np.diff(terrain.clean, axis=axis)) > STEEPEST[0] * terrain.cell_m
        at = np.moveaxis(broken, axis, 0)
        at[:-1] |= np.moveaxis(step, axis, 0)
        at[1:] |= np.moveaxis(step, axis, 0)
    size = _cells(NARROWEST_M, terrain) // 2 * 2 + 1
    whole = ~ndimage.maximum_filter(broken, size=size)
    steep: Bools = whole & (slope >= float(np.median(slope[whole] if whole.any() else slope)) + STEEPER)
    rows, cols = np.nonzero(steep)
    shapely.prepare(free)
    steep[rows, cols] = shapely.contains_xy(
        free, terrain.x0 + cols * terrain.cell_m, terrain.y0 + rows * terrain.cell_m
    )
    return steep


def _cells(length_m: float, terrain: Terrain) -> int:
    return max(1, round(length_m / terrain.cell_m))


def _strips(steep: Bools, terrain: Terrain) -> Iterator[Strip]:
    """Each connected piece of some ground, its narrow parts taken off."""
    size = _cells(NARROWEST_M, terrain)
    labels, _ = ndimage.label(ndimage.binary_opening(steep, np.ones((size, size))))
    for number, box in enumerate(ndimage.find_objects(labels), 1):
        rows, cols = np.nonzero(labels[box] == number)
        yield rows + box[0].start, cols + box[1].start


def _ramp(strip: Strip, terrain: Terrain) -> Ramp | None:
    """The ramp that a strip is, square-on to its fall; ``None`` where it is none."""
    gx, gy = terrain.gx[strip], terrain.gy[strip]
    slope = np.hypot(gx, gy)
    if math.hypot(float((gx / slope).mean()), float((gy / slope).mean())) < ONE_WAY:
        return None
    heading = math.atan2(float(gy.mean()), float(gx.mean()))
    c, s = math.cos(heading), math.sin(heading)
    x, y = strip[1] * terrain.cell_m, strip[0] * terrain.cell_m
    along, aside = x * c + y * s, y * c - x * s
    length_m, width_m = (float(np.ptp(axis)) + terrain.cell_m for axis in (along, aside))
    filled = len(x) * terrain.cell_m**2 / (length_m * width_m)
    rise_m = length_m * float(slope.mean())
    if length_m < SHORTEST_M or rise_m < LEAST_RISE_M or filled < FILLED:
        return None
    if width_m > min(WIDEST_M, MOST_WIDE * length_m):
        return None

    columns = np.round((aside - aside.min()) / terrain.cell_m).astype(np.int64)
    low, high = (np.median(reach(along, columns, np.unique(columns))) for reach in (ndimage.minimum, ndimage.maximum))

    def end(at_m: float) -> tuple[float, float]:
        across = aside[np.abs(along - at_m) <= END_M]
        middle = float(across.min() + across.max()) / 2
        return terrain.x0 + at_m * c - middle * s, terrain.y0 + at_m * s + middle * c

    return Ramp(end(float(low)), end(float(high)), heading, width_m / 2)
