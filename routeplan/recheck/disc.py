"""The level that a wheel stands at: a rolling disc as wide as the tyre, on bilinear levels (docs/method.md 3)."""

from __future__ import annotations

import math

import numpy as np

from routeplan.recheck.levels import KNOWN_BELOW_M, UNKNOWN, Floats, Raster

#: Lines along the tyre on which the fit is looked for besides the lines of the raster: what is left out between them
#: bends down towards both, by a thirtieth of what a cell's corners are out of plane, at a tyre of half a cell.
LINES = 5
#: Pieces of the raster's lines that are looked at in one go: what the processor keeps near.
AT_ONCE = 20_000
#: Crests lower than this are not looked for, m.
FLAT_M = 0.0001


def disc_level(raster: Raster, x: Floats, y: Floats, heading: Floats, *, radius_m: float, width_m: float) -> Floats:
    """Level that a rolling disc stands at: the highest fit over its length and the tyre's width.

    Parameters
    ----------
    raster
        The levels.
    x, y
        Hubs in site metres, one shape.
    heading
        Rolling direction in radians, same shape.
    radius_m, width_m
        Of the wheel.

    Returns
    -------
    ndarray
        Levels in metres, NaN where any level under the disc is unknown.

    Notes
    -----
    Bilinear levels have their crests on the lines of the raster: there the fit is exact. Between them they are smooth,
    and lines along the tyre are looked along by samples; between samples the ground is taken as straight.
    """
    hubs = np.stack([np.ravel(one) for one in np.broadcast_arrays(x, y, np.cos(heading), np.sin(heading))])
    level = _between_lines(raster, hubs, radius_m, width_m)
    # A crest that bends less than this is lower than so much above what is looked at beside it.
    flat = FLAT_M * raster.cell_m * 2 * (LINES - 1) / max(width_m, 1e-6)
    bent = np.flatnonzero(raster.bend(hubs[0], hubs[1], radius_m + 0.5 * width_m) > flat)
    at_once = max(1, AT_ONCE // (2 * math.ceil((radius_m + 0.5 * width_m) / raster.cell_m) + 1) ** 2)
    for some in (bent[n : n + at_once] for n in range(0, len(bent), at_once)):
        for eastward in (True, False):
            level[some] = np.maximum(level[some], _on_lines(raster, hubs[:, some], radius_m, width_m, eastward))
    return np.where(level > KNOWN_BELOW_M, np.nan, level).reshape(np.shape(x))


def _between_lines(raster: Raster, hubs: Floats, radius_m: float, width_m: float) -> Floats:
    """Highest fit on a few lines along the tyre; of each hub its x, y, and the cosine and sine of its heading."""
    step = min(radius_m / 4.0, raster.cell_m / 2.0)
    along = np.linspace(-radius_m, radius_m, 2 * math.ceil(radius_m / step) + 1)
    step = along[1] - along[0]
    across = np.linspace(-width_m / 2, width_m / 2, LINES)
    s, t = (grid.ravel() for grid in np.meshgrid(along, across))
    x, y, cos, sin = hubs[..., None]
    z = raster.at(x + s * cos - t * sin, y + s * sin + t * cos)
    best = np.argmax(z + _arc(s, radius_m), axis=-1)[:, None]
    # Once more, eight times as close, on either side of the best of these.
    fine = np.clip(s[best], step - radius_m, radius_m - step) + np.linspace(-step, step, 17)
    z = raster.at(x + fine * cos - t[best] * sin, y + fine * sin + t[best] * cos)
    return _highest_fit(z, fine, radius_m)


def _on_lines(raster: Raster, hubs: Floats, radius_m: float, width_m: float, eastward: bool) -> Floats:
    """Highest fit on the raster's lines that run east, or north, from node to node; minus infinity where none is met.
    """
    reach = math.ceil((radius_m + 0.5 * width_m) / raster.cell_m)
    offsets = np.arange(-reach, reach + 1)
    x, y, cos, sin = hubs[..., None, None]
    u, v = (x - raster.x_min) / raster.cell_m, (y - raster.y_min) / raster.cell_m
    # Of the piece from a node to the next: its first end as seen from the hub, along the wheel and across it.
    col, row = (np.floor(one).astype(np.intp) for one in (u, v))
    col, row = np.broadcast_arrays(col + offsets, row + offsets[:, None])
    east, north = (col - u) * raster.cell_m, (row - v) * raster.cell_m
    s, t = east * cos + north * sin, north * cos - east * sin
    ds, dt = (cos, -sin) if eastward else (sin, cos)
    first, last = _part_inside(s, ds * raster.cell_m, -radius_m, radius_m)
    beside = _part_inside(t, dt * raster.cell_m, -0.5 * width_m, 0.5 * width_m)
    first, last = np.maximum(first, beside[0]), np.minimum(last, beside[1])
    z = raster.nodes(row, col)
    rise = (raster.nodes(row, col + 1) if eastward else raster.nodes(row + 1, col)) - z
    return _highest_on(z, rise, s, ds * raster.cell_m, first, last, radius_m)


def _part_inside(at: Floats, run: Floats, low: float, high: float) -> tuple[Floats, Floats]:
    """From and to, of 0 to 1, of what lies between two bounds of a piece; from is more than to where nothing does."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ends = (low - at) / run, (high - at) / run
    inside = (at >= low) & (at <= high)
    first = np.where(run == 0.0, np.where(inside, 0.0, 2.0), np.minimum(*ends))
    last = np.where(run == 0.0, np.where(inside, 1.0, -1.0), np.maximum(*ends))
    return np.maximum(first, 0.0), np.minimum(last, 1.0)


def _highest_on(
    z: Floats, rise: Floats, s: Floats, run: Floats, first: Floats, last: Floats, radius_m: float
) -> Floats:
    """Highest fit on straight pieces, each from ``first`` to ``last``: there the arc is as steep as the ground."""
    here, beyond = z > KNOWN_BELOW_M, z + rise > KNOWN_BELOW_M
    unknown = (here & (first < 1.0)) | (beyond & (last > 0.0))
    z, rise = np.where(here, z + rise, z), np.where(here | beyond, 0.0, rise)
    level_run = np.abs(run) < 1e-9
    slope = rise / np.where(level_run, 1.0, run)
    touch = (radius_m * slope / np.sqrt(1.0 + slope**2) - s) / np.where(level_run, 1.0, run)
    touch = np.clip(np.where(level_run, np.where(rise > 0.0, 2.0, -1.0), touch), first, last)
    fit = np.where(unknown, UNKNOWN, z + rise * touch + _arc(s + run * touch, radius_m))
    return np.asarray(np.where(first <= last, fit, -np.inf).max(axis=(1, 2)))


def _arc(s: Floats, radius_m: float) -> Floats:
    """How far a disc's rim stays above its lowest point, negative, at distances from its middle."""
    return np.asarray(np.sqrt(np.maximum(0.0, radius_m**2 - s**2)) - radius_m)


def _highest_fit(z: Floats, s: Floats, radius_m: float) -> Floats:
    """Level of a disc on evenly spaced ground samples (last axis), taken as joined by straight lines."""
    fit = z + _arc(s, radius_m)
    best = np.argmax(fit, axis=-1)[..., None]
    level, here, at = (np.take_along_axis(values, best, -1) for values in (fit, z, s))
    for side in (-1, 1):
        beside = np.clip(best + side, 0, s.shape[-1] - 1)
        run = np.take_along_axis(s, beside, -1) - at
        rise = np.take_along_axis(z, beside, -1) - here
        slope = np.clip(rise / np.where(run == 0, 1.0, run), -KNOWN_BELOW_M, KNOWN_BELOW_M)
        touch = radius_m * slope / np.sqrt(1.0 + slope**2) - at
        between = (touch * side > 0) & (np.abs(touch) < np.abs(run)) & (here < KNOWN_BELOW_M)
        lifted = here - slope * at + radius_m * (np.sqrt(1.0 + slope**2) - 1.0)
        level = np.where(between, np.maximum(level, lifted), level)
    return np.asarray(level[..., 0])
