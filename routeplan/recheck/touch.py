"""Plain geometry between moving parts and the site's outlines: near first, exact after, touching is not overlapping."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol, TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from routeplan.recheck.track import Floats, Ints, Track

#: An overlap thinner than this is float noise, metres.
NOISE_M = 1e-6


def near(geometry: BaseGeometry, x: Floats, y: Floats, reach_m: Floats | float) -> Ints:
    """Indices of points whose distance to a geometry is at most a reach; a reach may differ from point to point."""
    if geometry.is_empty or not x.size:
        return np.zeros(0, dtype=np.intp)
    low_x, low_y, high_x, high_y = geometry.bounds
    boxed = np.flatnonzero(
        (x >= low_x - reach_m) & (x <= high_x + reach_m) & (y >= low_y - reach_m) & (y <= high_y + reach_m)
    )
    if not boxed.size:
        return boxed
    shapely.prepare(geometry)
    reach = np.broadcast_to(reach_m, x.shape)[boxed]
    return np.asarray(boxed[shapely.dwithin(geometry, shapely.points(x[boxed], y[boxed]), reach)], dtype=np.intp)


class Outlined(Protocol):
    """A feature of the site with an outline."""

    @property
    def geometry(self) -> Polygon:
        """Outline in plan."""


Feature = TypeVar("Feature", bound=Outlined)


def local(features: Sequence[Feature], track: Track, rows: Ints, reach_m: float) -> list[Feature]:
    """Features whose bounding box comes within a reach of the bounding box of some samples."""
    if not features:
        return []
    low_x, low_y, high_x, high_y = shapely.bounds([feature.geometry for feature in features]).T
    x, y = track.x[rows], track.y[rows]
    about = (low_x <= x.max() + reach_m) & (high_x >= x.min() - reach_m)
    about &= (low_y <= y.max() + reach_m) & (high_y >= y.min() - reach_m)
    return [features[at] for at in np.flatnonzero(about).tolist()]


def hulls(x: Floats, y: Floats) -> NDArray[np.object_]:
    """Convex hulls of groups of points, ``(n, points)`` each."""
    return np.asarray(shapely.convex_hull(shapely.linestrings(np.stack([x, y], axis=-1))), dtype=object)


def gaps(shapes: NDArray[np.object_], geometry: BaseGeometry | NDArray[np.object_]) -> tuple[Floats, NDArray[np.bool_]]:
    """Plan distances in metres, and whether the shapes overlap by more than float noise."""
    distance = np.asarray(shapely.distance(shapes, geometry))
    overlap = distance <= 0.0
    touching = np.flatnonzero(overlap)
    if touching.size:
        others = geometry[touching] if isinstance(geometry, np.ndarray) else geometry
        overlap[touching] = shapely.intersects(shapes[touching], shapely.buffer(others, -NOISE_M, quad_segs=1))
    return distance, overlap
