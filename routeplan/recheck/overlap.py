"""Where a leaning, level-topped part of the machine lies over (or under) an outline on the site: exact corner points.

Levels of a part are linear over it; where what is compared with them is no worse between the corners of the common
outline than at them, the corners govern. Where it follows the ground, the outline is cut into short pieces as well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from routeplan.recheck.stance import Stance
from routeplan.recheck.track import Floats, Ints


@dataclass(frozen=True, eq=False)
class Corners:
    """Corners of common outlines, ``(n,)`` each: track sample, place, body point, and position in the stance."""

    rows: Ints
    x: Floats
    y: Floats
    z: Floats
    xi: Floats
    eta: Floats
    at: Ints
    variant: Ints


def overlap_corners(
    stance: Stance, ring: Floats, zeta_m: float, outline: BaseGeometry, *, piece_m: float | None = None
) -> Corners | None:
    """Corners of what a ring of the machine, at one height, has in common with an outline, in every variant and plane.

    Parameters
    ----------
    stance
        Samples near the outline.
    ring
        ``(points, 2)`` convex, machine frame.
    zeta_m
        Height of the ring above the wheels' plane.
    outline
        In site coordinates.
    piece_m
        Cut the common outline into pieces no longer than this.

    Returns
    -------
    Corners or None
        None when they have nothing in common anywhere.
    """
    rings, hit = _placed_on(stance, ring, zeta_m, outline)
    if not len(hit[0]):
        return None
    shared = shapely.intersection(rings[hit], outline)
    shared = shared if piece_m is None else shapely.segmentize(shared, piece_m)
    points, which = shapely.get_coordinates(shared, return_index=True)
    sample, variant, plane = (index[which] for index in hit)
    xi, eta, z = _body_points(stance, (sample, variant, plane), points, zeta_m)
    return Corners(stance.rows[sample], points[:, 0], points[:, 1], z, xi, eta, sample, variant)


def overlapping(stance: Stance, ring: Floats, zeta_m: float, outline: BaseGeometry) -> Ints:
    """Track samples in which a ring of the machine, at one height, has anything in common with an outline."""
    _rings, hit = _placed_on(stance, ring, zeta_m, outline)
    return np.asarray(stance.rows[np.unique(hit[0])], dtype=np.intp)


def _placed_on(
    stance: Stance, ring: Floats, zeta_m: float, outline: BaseGeometry
) -> tuple[NDArray[np.object_], tuple[Ints, Ints, Ints]]:
    """A ring as polygons by sample, variant and plane, and the indices of those that meet an outline."""
    x, y, _z = stance.place(ring[:, 0], ring[:, 1], np.full(len(ring), zeta_m))
    rings = shapely.polygons(np.stack([x, y], axis=-1))
    shapely.prepare(outline)
    sample, variant, plane = np.nonzero(shapely.intersects(outline, rings))
    return rings, (sample, variant, plane)


def _body_points(
    stance: Stance, index: tuple[Ints, Ints, Ints], points: Floats, zeta_m: float
) -> tuple[Floats, Floats, Floats]:
    """Machine-frame place and level of site points that lie at a height of the leaning machine."""
    sample, variant, plane = index
    ahead, left, up = ([term[index] for term in row] for row in stance.planes.rotation())
    dx, dy = points[:, 0] - stance.x[sample, variant], points[:, 1] - stance.y[sample, variant]
    cos, sin = np.cos(stance.heading[sample, variant]), np.sin(stance.heading[sample, variant])
    forward = cos * dx + sin * dy - ahead[2] * zeta_m
    aside = -sin * dx + cos * dy - left[2] * zeta_m
    eta = aside / left[1]
    xi = (forward - ahead[1] * eta) / ahead[0]
    z = stance.planes.level[index] + up[0] * xi + up[1] * eta + up[2] * zeta_m
    return xi, eta, z
