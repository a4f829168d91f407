"""The ground as fields: refined levels, clean ground, defects (docs/method.md 3). The same for every machine."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy import ndimage
from shapely.geometry.base import BaseGeometry

from routeplan.hazards.arrays import Floats, Ints
from routeplan.site.model import GridSpec, Ground

#: Half size of the square that clean ground is made with, m: holes and bumps up to twice this across are defects.
DEFECT_HALF_M = 0.5


@dataclass(frozen=True, eq=False)
class Terrain:
    """Levels on the field grid, ``(rows, cols)`` float64 in metres, row 0 in the south.

    Parameters
    ----------
    levels
        (2, rows, cols) levels, and the same with holes filled and bumps shaved; NaN where unknown.
    gx, gy
        Gradient of the clean ground east and north, as ratios; 0 where unknown.
    cell_m
        Node spacing of the fields.
    stride
        Field nodes per lattice cell.
    """

    levels: Floats
    gx: Floats
    gy: Floats
    x0: float
    y0: float
    cell_m: float
    stride: int

    @property
    def level(self) -> Floats:
        """Levels as surveyed."""
        level: Floats = self.levels[0]
        return level

    @property
    def clean(self) -> Floats:
        """Levels of clean ground."""
        clean: Floats = self.levels[1]
        return clean

    def window(self, geometry: BaseGeometry, reach_m: float) -> tuple[slice, slice]:
        """Rows and columns that hold all nodes within a distance of a geometry; empty where there are none."""
        rows, cols = self.level.shape
        west, south, east, north = geometry.bounds
        c0 = max(math.floor((west - reach_m - self.x0) / self.cell_m), 0)
        c1 = min(math.ceil((east + reach_m - self.x0) / self.cell_m), cols - 1)
        r0 = max(math.floor((south - reach_m - self.y0) / self.cell_m), 0)
        r1 = min(math.ceil((north + reach_m - self.y0) / self.cell_m), rows - 1)
        return slice(r0, max(r1 + 1, r0)), slice(c0, max(c1 + 1, c0))

    def part(self, window: tuple[slice, slice]) -> Terrain:
        """The ground of a window alone, which has nodes."""
        rows, cols = window
        return replace(
            self, levels=self.levels[:, rows, cols], gx=self.gx[window], gy=self.gy[window],
            x0=self.x0 + cols.start * self.cell_m, y0=self.y0 + rows.start * self.cell_m,
        )  # fmt: skip

    def nodes_within(self, geometry: BaseGeometry, reach_m: float) -> tuple[Ints, Ints, Floats]:
        """Rows, columns and distances (m) of the nodes within a distance of a geometry."""
        r, c = self.window(geometry, reach_m)
        if r.start == r.stop or c.start == c.stop:
            return np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0)
        rr, cc = np.meshgrid(np.arange(r.start, r.stop), np.arange(c.start, c.stop), indexing="ij")
        points = shapely.points(self.x0 + cc * self.cell_m, self.y0 + rr * self.cell_m)
        shapely.prepare(geometry)
        near = shapely.dwithin(geometry, points, reach_m)
        return rr[near], cc[near], shapely.distance(geometry, points[near])


def clean_ground(levels: Floats, cell_m: float) -> Floats:
    """Close, then open, the levels by a square about 1 m across; unknown levels stay unknown and move nothing.

    >>> z = np.zeros((9, 9)); z[4, 4] = -0.1
    >>> float(np.abs(clean_ground(z, 0.25)).max())
    0.0
    """
    size = 2 * max(1, round(DEFECT_HALF_M / cell_m)) + 1
    unknown = np.isnan(levels)

    def grown(z: Floats, sign: float) -> Floats:
        known = np.where(np.isnan(z), -np.inf, sign * z)
        out: Floats = sign * ndimage.maximum_filter(known, size=size, mode="nearest")
        return np.where(unknown, np.nan, out)

    result = levels
    for sign in (1.0, -1.0, -1.0, 1.0):
        result = grown(result, sign)
    return result


def refined(levels: Floats, factor: int) -> Floats:
    """Bilinear levels at ``factor`` nodes for each one; the old nodes keep their values.

    >>> refined(np.array([[0.0, 1.0], [2.0, 3.0]]), 2).tolist()
    [[0.0, 0.5, 1.0], [1.0, 1.5, 2.0], [2.0, 2.5, 3.0]]
    """
    if factor == 1:
        return levels
    for axis in (0, 1):
        a = np.moveaxis(levels, axis, 0)
        t = (np.arange(factor) / factor).reshape(-1, *([1] * (a.ndim - 1)))
        with np.errstate(invalid="ignore"):
            between = np.where(t == 0.0, a[:-1, None], a[:-1, None] * (1.0 - t) + a[1:, None] * t)
        levels = np.moveaxis(np.concatenate([between.reshape(-1, *a.shape[1:]), a[-1:]]), 0, axis)
    return np.ascontiguousarray(levels)


def disc_maximum(field: Floats, reach_cells: float) -> Floats:
    """Maximum over a disc around each node, drawn by a handful of rectangles that cover it."""
    parts = 6
    out = field
    for i in range(parts):
        a = math.ceil(reach_cells * math.cos(i * math.pi / 2 / parts))
        b = math.ceil(reach_cells * math.sin((i + 1) * math.pi / 2 / parts))
        one: Floats = ndimage.maximum_filter(field, size=(2 * b + 1, 2 * a + 1), mode="nearest")
        out = np.maximum(out, one)
    return out


def build_terrain(ground: Ground, grid: GridSpec) -> Terrain:
    """Prepare the ground for the lattice: field nodes fall on the levels' own nodes, and lattice nodes on field
    nodes.
    """
    factor = max(1, math.ceil(ground.cell_m / grid.cell_m - 1e-9))
    cell = ground.cell_m / factor
    clean = clean_ground(ground.z, ground.cell_m)
    level, clean = refined(ground.z, factor), refined(clean, factor)
    # The local plane is only what spans are measured from: smoothed, so that a survey's noise does not tilt it.
    half = max(1, round(0.75 / cell))
    padded = np.pad(np.where(np.isnan(clean), np.nanmean(clean), clean), half + 1, mode="reflect", reflect_type="odd")
    inner = (slice(half + 1, -half - 1), slice(half + 1, -half - 1))
    gy, gx = (g[inner] for g in np.gradient(ndimage.uniform_filter(padded, size=2 * half + 1), cell))
    return Terrain(
        levels=np.array([level, clean], np.float64),
        gx=np.ascontiguousarray(gx),
        gy=np.ascontiguousarray(gy),
        x0=ground.x_min,
        y0=ground.y_min,
        cell_m=cell,
        stride=max(1, round(grid.cell_m / cell)),
    )
