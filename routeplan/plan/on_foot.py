"""Ways on foot over a site on a day: for a rescuer to the ground controls of a machine that stands in the way itself.

A raster of the site; what is not free is grown by half a cell's diagonal, and so much is taken off every width, so that
no way is told wider than it is.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry
from skimage.graph import MCP_Geometric

from routeplan.route.lifelines import OnFoot
from routeplan.site.model import Site

Floats = NDArray[np.floating[Any]]
Bools = NDArray[np.bool_]

#: Cells of the raster, m.
CELL_M = 0.1
#: Half the diagonal of a cell, m.
ROUNDED_M = 0.5 * math.sqrt(2.0) * CELL_M
#: How wide a way one person wants, m (common practice, no source).
WIDTH_M = 0.75
#: Who stands so near to a chassis reaches its ground controls, m (common practice, no source).
ARM_M = 0.8
#: Trenches in these states are filled and may be walked over.
FILLED = frozenset({"proven", "resurfaced"})


@dataclass(frozen=True)
class Thing:
    """Something that nobody walks through, in words."""

    words: str
    geometry: BaseGeometry


def in_the_way(site: Site, day: dt.date | None) -> Iterator[Thing]:
    """What people keep clear of on a day: obstacles of any height, excavations, open trenches, closed areas."""
    yield from (Thing(f"{one.kind} {one.id}", one.geometry) for one in site.obstacles)
    yield from (Thing(f"excavation {one.id}", one.geometry) for one in site.excavations)
    for one in site.defects:
        if one.kind == "trench" and one.state not in FILLED:
            yield Thing(f"trench {one.id}", one.geometry)
    for area in site.areas:
        if area.closed_on(day):
            yield Thing(f"closed area {area.id}", area.geometry)


@dataclass(frozen=True, eq=False)
class Walk:
    """Where people may walk: how far each cell is at least from what is in the way, 0 in it, m."""

    west: float
    south: float
    clear_m: Floats
    things: Sequence[Thing]

    @classmethod
    def over(cls, site: Site, things: Sequence[Thing]) -> Walk:
        """Over the known ground of a site, round some things."""
        west, south, east, north = site.boundary.bounds
        x, y = np.arange(west, east + CELL_M, CELL_M), np.arange(south, north + CELL_M, CELL_M)
        free = _within(site.boundary.buffer(-ROUNDED_M), x, y)
        ground = site.ground
        rows = np.clip(np.round((y - ground.y_min) / ground.cell_m).astype(int), 0, ground.z.shape[0] - 1)
        cols = np.clip(np.round((x - ground.x_min) / ground.cell_m).astype(int), 0, ground.z.shape[1] - 1)
        free &= np.isfinite(ground.z)[np.ix_(rows, cols)]
        for thing in things:
            free &= ~_within(thing.geometry.buffer(ROUNDED_M), x, y)
        edged = np.pad(free, 1)
        clear = np.asarray(ndimage.distance_transform_edt(edged, sampling=CELL_M))[1:-1, 1:-1]
        return cls(west, south, np.maximum(clear - ROUNDED_M, 0.0), things)

    @property
    def free(self) -> Bools:
        """Cells that a person's middle may be in."""
        return np.asarray(self.clear_m >= 0.5 * WIDTH_M)

    def near(self, geometry: BaseGeometry, within_m: float) -> Bools:
        """Free cells within a distance of a geometry."""
        rows, cols = self.clear_m.shape
        x, y = self.west + np.arange(float(cols)) * CELL_M, self.south + np.arange(float(rows)) * CELL_M
        return self.free & _within(geometry.buffer(within_m), x, y)

    def nearest(self, point: Point) -> list[tuple[int, int]]:
        """The free cell nearest to a place, if one is no farther from it than a way is wide."""
        cells = [(int(row), int(col)) for row, col in np.argwhere(self.near(point, WIDTH_M))]
        return sorted(cells, key=lambda cell: math.dist(self.at(cell), (point.x, point.y)))[:1]

    def at(self, cell: tuple[int, int]) -> tuple[float, float]:
        """The middle of a cell."""
        return self.west + cell[1] * CELL_M, self.south + cell[0] * CELL_M

    def way(self, starts: Iterable[tuple[str, Point]], goals: Bools, machine: Polygon) -> OnFoot | None:
        """A short way from the place that is nearest to any of some cells beside a machine; None where there is none.

        Where there is room it keeps off the sides, so that what is told as narrow is. Within arm's reach of the machine
        no width is told: there the machine is one of the sides.
        """
        named = {cell: name for name, point in starts for cell in self.nearest(point)}
        if not named or not goals.any():
            return None
        with np.errstate(divide="ignore"):
            costs = np.where(self.free, 1.0 + (0.5 * WIDTH_M / self.clear_m) ** 2, -1.0)  # negative: impassable
        search = MCP_Geometric(costs, sampling=(CELL_M, CELL_M))
        told, _ = search.find_costs([tuple(cell) for cell in np.argwhere(goals)], list(named), find_all_ends=False)
        first = min(named, key=lambda cell: float(told[cell]))
        if not math.isfinite(told[first]):
            return None
        cells = search.traceback(first)
        length_m = sum(math.dist(self.at(a), self.at(b)) for a, b in pairwise(cells))
        before = [cell for cell in cells if Point(self.at(cell)).distance(machine) > ARM_M] or cells
        tight = min(before, key=lambda cell: float(self.clear_m[cell]))
        return OnFoot(named[first], length_m, 2.0 * float(self.clear_m[tight]), self.at(tight))

    def between(self, starts: Iterable[Point], goals: BaseGeometry) -> tuple[str, ...]:
        """What lies in the way where the ground that is reached on foot comes nearest to some goals."""
        labels, _ = ndimage.label(self.free, structure=np.ones((3, 3)))
        begun = {labels[cell] for point in starts for cell in self.nearest(point)}
        reached = np.argwhere(np.isin(labels, list(begun)) & self.free)
        if not len(reached):
            return ()
        points = shapely.points(self.west + reached[:, 1] * CELL_M, self.south + reached[:, 0] * CELL_M)
        nearest = points[int(np.argmin(shapely.distance(points, goals)))]
        line = LineString(shapely.get_coordinates(shapely.shortest_line(nearest, goals))).buffer(WIDTH_M)
        return tuple(thing.words for thing in self.things if thing.geometry.intersects(line))


def _within(geometry: BaseGeometry, x: Floats, y: Floats) -> Bools:
    """Which cells (rows, cols) have their middle in a geometry."""
    found = np.zeros((len(y), len(x)), bool)
    if geometry.is_empty:
        return found
    west, south, east, north = geometry.bounds
    c = slice(np.searchsorted(x, west), np.searchsorted(x, east, side="right"))
    r = slice(np.searchsorted(y, south), np.searchsorted(y, north, side="right"))
    shapely.prepare(geometry)
    found[r, c] = shapely.contains_xy(geometry, *np.meshgrid(x[c], y[r]))
    return found


def to_ground_controls(
    site: Site, day: dt.date | None, *, standing: Polygon, chassis: Polygon, name: str,
    starts: Sequence[tuple[str, Point]],
) -> tuple[OnFoot | None, str]:
    """The way for a rescuer to any free spot beside a machine's chassis, and what is in the way where there is none.

    Parameters
    ----------
    standing, chassis
        Outlines of the machine as it stands, which is in the way itself, and of its chassis.
    """
    walk = Walk.over(site, [*in_the_way(site, day), Thing(name, standing)])
    beside = walk.near(chassis, ARM_M)
    found = walk.way(starts, beside, standing)
    if found is not None:
        return found, ""
    if not beside.any():
        return None, f"nobody can stand beside the chassis of {name}: there is no spot {WIDTH_M:.2f} m wide"
    spots = shapely.MultiPoint([walk.at((row, col)) for row, col in np.argwhere(beside).tolist()])
    names = walk.between([point for _, point in starts], spots)
    what = f"in the way: {', '.join(names)}" if names else "no free ground where people come from"
    return None, f"no way {WIDTH_M:.2f} m wide on foot to the ground controls of {name}; {what}"
