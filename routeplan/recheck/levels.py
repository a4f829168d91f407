"""Levels as the second opinion reads them: its own interpolation, clean ground and defects.

Unknown levels are carried as a number larger than any level, so that a maximum over a wheel or a body never hides one.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from routeplan.site.model import Ground

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Rise = Callable[[Floats, Floats], Floats]

#: Stands for an unknown level inside the arrays; a weight of exactly zero still cancels it.
UNKNOWN = 1e300
#: Anything above is an unknown level.
KNOWN_BELOW_M = 1e6
#: Half of the plan size of the bumps and holes that clean ground is free of, metres.
CLEAN_HALF_M = 0.5
#: How far from a wheel's hub a defect still counts, metres.
DEFECT_REACH_M = 3.0


def running(z: Floats, half: int, *, highest: bool) -> Floats:
    """Largest or smallest value over a square of ``(2 * half + 1)`` nodes a side, windows cut off at the edges.

    Parameters
    ----------
    z
        ``(rows, cols)``; NaN is not allowed (use an infinity that never wins).
    half
        Nodes to either side.
    highest
        Whether the largest is wanted.

    Returns
    -------
    ndarray
        Same shape as ``z``.
    """
    pick, fill = (np.maximum, -np.inf) if highest else (np.minimum, np.inf)
    out = z
    for axis in (0, 1):
        widths = [(half, half) if axis == other else (0, 0) for other in (0, 1)]
        line = np.moveaxis(np.pad(out, widths, constant_values=fill), axis, 0)
        window, size, count = 2 * half + 1, 1, out.shape[axis]
        while 2 * size <= window:
            line = pick(line[:-size], line[size:])
            size *= 2
        out = np.moveaxis(pick(line[:count], line[window - size : window - size + count]), 0, axis)
    return np.ascontiguousarray(out)


def clean_ground(z: Floats, cell_m: float) -> Floats:
    """Levels without holes and bumps up to about one metre across: closing, then opening, by a square.

    The array is continued oddly beyond its edges, so that a plane stays a plane up to the last node.

    Parameters
    ----------
    z
        ``(rows, cols)`` levels in metres, NaN where unknown.
    cell_m
        Node spacing in metres.

    Returns
    -------
    ndarray
        Same shape, NaN where ``z`` is.
    """
    half = max(1, round(CLEAN_HALF_M / cell_m))
    work = np.pad(z, 4 * half, mode="reflect", reflect_type="odd")
    for highest in (True, False, False, True):
        work = np.where(np.isfinite(work), work, -np.inf if highest else np.inf)
        work = running(work, half, highest=highest)
    inner = work[4 * half : 4 * half + z.shape[0], 4 * half : 4 * half + z.shape[1]]
    return np.where(np.isnan(z), np.nan, inner)


class Raster:
    """A grid of levels, bilinear between nodes; everything outside it is unknown."""

    def __init__(self, z: Floats, *, x_min: float, y_min: float, cell_m: float) -> None:
        self.x_min, self.y_min, self.cell_m = x_min - cell_m, y_min - cell_m, cell_m
        padded = np.pad(z, 1, constant_values=np.nan)
        self.rows, self.cols = padded.shape
        self._flat = np.where(np.isnan(padded), UNKNOWN, padded).ravel()
        self._bends: dict[int, Floats] = {}

    def at(self, x: Floats, y: Floats) -> Floats:
        """Levels at points, any common shape; ``UNKNOWN``-sized where a node that counts is unknown."""
        u = np.clip((x - self.x_min) / self.cell_m, 0.0, self.cols - 1.0)
        v = np.clip((y - self.y_min) / self.cell_m, 0.0, self.rows - 1.0)
        col = np.minimum(u.astype(np.intp), self.cols - 2)
        row = np.minimum(v.astype(np.intp), self.rows - 2)
        u -= col
        v -= row
        first = row * self.cols + col
        take = self._flat.take
        south = take(first) * (1.0 - u) + take(first + 1) * u
        first += self.cols
        north = take(first) * (1.0 - u) + take(first + 1) * u
        return np.asarray(south * (1.0 - v) + north * v)

    def bend(self, x: Floats, y: Floats, reach_m: float) -> Floats:
        """Most that levels about points differ from a plane from one cell to the next, m; at least within a reach."""
        half = math.ceil(reach_m / self.cell_m + 1.5)
        if half not in self._bends:
            z, bends = self._flat.reshape(self.rows, self.cols), np.zeros((self.rows, self.cols))
            bends[1:-1] = np.abs(z[2:] - 2.0 * z[1:-1] + z[:-2])
            bends[:, 1:-1] = np.maximum(bends[:, 1:-1], np.abs(z[:, 2:] - 2.0 * z[:, 1:-1] + z[:, :-2]))
            twist = np.abs(z[1:, 1:] - z[1:, :-1] - z[:-1, 1:] + z[:-1, :-1])
            bends[1:, 1:] = np.maximum(bends[1:, 1:], twist)
            self._bends[half] = running(bends, half, highest=True)
        col = np.clip(np.rint((x - self.x_min) / self.cell_m).astype(np.intp), 0, self.cols - 1)
        row = np.clip(np.rint((y - self.y_min) / self.cell_m).astype(np.intp), 0, self.rows - 1)
        return np.asarray(self._bends[half][row, col])

    def nodes(self, row: Ints, col: Ints) -> Floats:
        """Levels of nodes counted from the place ``(x_min, y_min)``; the edge of the grid stands for all beyond it."""
        first = np.clip(row, 0, self.rows - 1) * self.cols + np.clip(col, 0, self.cols - 1)
        return np.asarray(self._flat.take(first))


class DiscMaximum:
    """Largest node value within a fixed reach of any point: exact, by row-wise maxima over powers of two."""

    def __init__(self, values: Floats, *, x_min: float, y_min: float, cell_m: float, reach_m: float) -> None:
        self.x_min, self.y_min, self.cell_m, self.reach_m = x_min, y_min, cell_m, reach_m
        self.half = math.ceil(reach_m / cell_m)
        self.rows, self.cols = values.shape
        self._tables = [values]
        while 2 ** len(self._tables) <= 2 * self.half + 1 and 2 ** len(self._tables) <= self.cols:
            last, size = self._tables[-1], 2 ** (len(self._tables) - 1)
            shifted = np.concatenate([last[:, size:], np.full((self.rows, size), -np.inf)], axis=1)
            self._tables.append(np.maximum(last, shifted))
        self._stack = np.stack(self._tables)
        self._bound = running(values, math.ceil(reach_m / cell_m + 0.5), highest=True)

    def bound(self, x: Floats, y: Floats) -> Floats:
        """Never below the exact value, and quick: the maximum over a square that holds the disc."""
        col = np.clip(np.rint((x - self.x_min) / self.cell_m).astype(np.intp), 0, self.cols - 1)
        row = np.clip(np.rint((y - self.y_min) / self.cell_m).astype(np.intp), 0, self.rows - 1)
        return np.asarray(self._bound[row, col])

    def at(self, x: Floats, y: Floats) -> Floats:
        """Largest value at a node not further away than the reach; 0 when there is no node."""
        u, v = (x - self.x_min) / self.cell_m, (y - self.y_min) / self.cell_m
        middle = np.rint(v).astype(np.intp)
        reach = self.reach_m / self.cell_m + 1e-9
        best = np.zeros(np.shape(x))
        for offset in range(-self.half - 1, self.half + 2):
            row = middle + offset
            chord = reach**2 - (row - v) ** 2
            wide = np.sqrt(np.maximum(chord, 0.0))
            low = np.maximum(np.ceil(u - wide), 0).astype(np.intp)
            high = np.minimum(np.floor(u + wide), self.cols - 1).astype(np.intp)
            there = (chord >= 0) & (row >= 0) & (row < self.rows) & (high >= low)
            count = np.where(there, high - low + 1, 1)
            level = np.minimum(np.log2(count).astype(np.intp), len(self._tables) - 1)
            row, low, high = (np.where(there, index, 0) for index in (row, low, high))
            right = np.where(there, high - 2**level + 1, 0)
            value = np.maximum(self._stack[level, row, low], self._stack[level, row, right])
            best = np.where(there, np.maximum(best, value), best)
        return best


class Levels:
    """The levels of a site around a route: as surveyed, clean, and where the two differ.

    Parameters
    ----------
    ground
        The site's levels.
    window
        ``(x_min, y_min, x_max, y_max)`` in site metres: all that will be asked for, the reach of defects included.
    rise
        How far levels at places are lifted beyond what was surveyed; None where nothing lifts them.
    """

    def __init__(self, ground: Ground, window: tuple[float, ...], rise: Rise | None = None) -> None:
        cell = ground.cell_m
        border = 4 * max(1, round(CLEAN_HALF_M / cell)) + 2
        row0, row1 = self._span(window[1] - ground.y_min, window[3] - ground.y_min, cell, border, ground.z.shape[0])
        col0, col1 = self._span(window[0] - ground.x_min, window[2] - ground.x_min, cell, border, ground.z.shape[1])
        surveyed = ground.z if ground.surveyed is None else ground.surveyed
        self.z = np.asarray(surveyed[row0:row1, col0:col1], dtype=np.float64)
        self.place = {"x_min": ground.x_min + col0 * cell, "y_min": ground.y_min + row0 * cell, "cell_m": cell}
        self.cell_m = cell
        if rise is not None:
            north, east = np.mgrid[0 : self.z.shape[0], 0 : self.z.shape[1]] * cell
            x, y = self.place["x_min"] + east, self.place["y_min"] + north
            self.z = self.z + rise(x.ravel(), y.ravel()).reshape(self.z.shape)
        tidy = clean_ground(self.z, cell)
        self.real = Raster(self.z, **self.place)
        self.clean = Raster(tidy, **self.place)
        self._extremes: dict[tuple[int, bool], Floats] = {}
        self.rough = np.nan_to_num(np.abs(self.z - tidy))
        self.defect = DiscMaximum(self.rough, **self.place, reach_m=DEFECT_REACH_M)

    @staticmethod
    def _span(low: float, high: float, cell: float, border: int, count: int) -> tuple[int, int]:
        first = min(max(math.floor(low / cell) - border, 0), count - 1)
        last = min(max(math.ceil(high / cell) + border + 1, first + 1), count)
        return first, last

    def extreme(self, radius_m: float, *, highest: bool) -> Floats:
        """Highest (or lowest) level within at least a radius of each node; unknown counts as the worst."""
        key = (math.ceil(radius_m / self.cell_m + 0.5), highest)
        if key not in self._extremes:
            worst = UNKNOWN if highest else -UNKNOWN
            self._extremes[key] = running(np.where(np.isnan(self.z), worst, self.z), key[0], highest=highest)
        return self._extremes[key]

    def nodes_about(self, x: Floats, y: Floats, reach_m: float) -> tuple[Floats, Floats, Floats]:
        """Places and levels of all nodes within a reach (and some beyond) of points, ``(n, nodes)``."""
        half = math.ceil(reach_m / self.cell_m + 0.5)
        rows, cols = (grid.ravel() for grid in np.mgrid[-half : half + 1, -half : half + 1])
        col = np.rint((x - self.place["x_min"]) / self.cell_m)[:, None] + cols
        row = np.rint((y - self.place["y_min"]) / self.cell_m)[:, None] + rows
        there = (col >= 0) & (row >= 0) & (col < self.z.shape[1]) & (row < self.z.shape[0])
        at_row, at_col = (np.where(there, index, 0).astype(np.intp) for index in (row, col))
        z = np.where(there, self.z[at_row, at_col], np.nan)
        x, y = self.place["x_min"] + col * self.cell_m, self.place["y_min"] + row * self.cell_m
        return x, y, np.where(np.isnan(z), UNKNOWN, z)

    def nearest(self, field: Floats, x: Floats, y: Floats, *, outside: float) -> Floats:
        """Value of a node field at the nearest node, ``outside`` beyond the grid."""
        col = np.rint((x - self.place["x_min"]) / self.cell_m).astype(np.intp)
        row = np.rint((y - self.place["y_min"]) / self.cell_m).astype(np.intp)
        there = (col >= 0) & (row >= 0) & (col < field.shape[1]) & (row < field.shape[0])
        return np.where(there, field[np.where(there, row, 0), np.where(there, col, 0)], outside)
