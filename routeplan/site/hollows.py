"""Hollows: where rain has to stand, and may hide a hole from the driver and from the survey."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import MultiPolygon, Polygon
from skimage.morphology import reconstruction

from routeplan.site.ground import window_round
from routeplan.site.model import Ground

#: Shallower water is a wet yard rather than a puddle that hides something; chosen, no source.
LEAST_DEPTH_M = 0.020

#: A single low node is as likely a wrong level.
_LEAST_NODES = 2

#: Water runs to any of the eight nodes round one.
_EIGHT = np.ones((3, 3))


@dataclass(frozen=True)
class Hollow:
    """Joined ground that lies below the lowest way out of it.

    Parameters
    ----------
    depth_m
        Of standing water at the deepest node, metres.
    area_m2
        Of the water.
    x, y
        Site coordinates of the deepest node, metres.
    """

    depth_m: float
    area_m2: float
    x: float
    y: float


def filled(levels: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return levels with every hollow filled up to the lowest way out of it.

    Parameters
    ----------
    levels
        ``(rows, columns)``, metres, NaN where unknown.

    Returns
    -------
    ndarray
        As large, metres, nowhere lower than ``levels``, NaN where they are.

    Notes
    -----
    Morphological reconstruction by erosion: water that covers everything sinks until the ground holds it. It runs off
    at the edges of the raster and wherever a level is unknown, so that a hollow with a gap in its levels is shown
    shallower than it may be, or not at all.
    """
    unknown = np.isnan(levels)
    ground = np.where(unknown, np.nanmin(levels), levels)
    runs_off = np.pad(unknown[1:-1, 1:-1], 1, constant_values=True)
    flooded = np.where(runs_off, ground, ground.max())
    return np.where(unknown, np.nan, reconstruction(flooded, ground, method="erosion", footprint=_EIGHT))


def hollows(ground: Ground, outline: Polygon | MultiPolygon) -> list[Hollow]:
    """Return the hollows in an outline that are deeper than ``LEAST_DEPTH_M`` and of more than one node.

    Of a hollow that goes on beyond the outline only the part inside counts; how high the water stands in it comes from
    the whole raster.

    Parameters
    ----------
    ground
        Levels.
    outline
        In site metres; may be empty.

    Returns
    -------
    list of Hollow
        The deepest first.
    """
    if outline.is_empty:
        return []
    depths = replace(ground, z=filled(ground.z) - ground.z)
    window, within, i0, j0 = window_round(depths, outline)
    water_m = np.where(within & (window > 0.0), window, 0.0)
    labels, count = ndimage.label(water_m, structure=_EIGHT)
    numbers = np.arange(1, count + 1)
    nodes = np.bincount(labels.ravel(), minlength=count + 1)[1:]
    deepest = np.asarray(ndimage.maximum(water_m, labels, numbers))
    numbers = numbers[(deepest > LEAST_DEPTH_M) & (nodes >= _LEAST_NODES)]
    found = [
        Hollow(
            depth_m=float(water_m[i, j]),
            area_m2=float(nodes[number - 1] * ground.cell_m**2),
            x=ground.x_min + (j0 + j) * ground.cell_m,
            y=ground.y_min + (i0 + i) * ground.cell_m,
        )
        for number, (i, j) in zip(numbers, ndimage.maximum_position(water_m, labels, numbers), strict=True)
    ]
    return sorted(found, key=lambda hollow: -hollow.depth_m)
