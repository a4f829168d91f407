"""Kerbs and sills met square-on, and never on a side slope, worked out a second time."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import shapely
from numpy.typing import NDArray

from routeplan.recheck.case import Case
from routeplan.recheck.ledger import Ledger
from routeplan.recheck.stance import Stance, disc_levels, settle
from routeplan.recheck.touch import hulls, local, near
from routeplan.recheck.track import Floats, Ints
from routeplan.recheck.wheels import height_m, wheel_reach_m
from routeplan.site.model import Defect

#: A hub that moves less from one sample to the next goes nowhere, metres.
_STILL_M = 1e-9


def offer_kerbs(case: Case, stance: Stance, ledger: Ledger) -> None:
    """Offer the angle at which each wheel meets each edge of what is raised, and the side slope on which it does."""
    reach = wheel_reach_m(case) + max(wheel.radius_m for wheel in case.machine.wheels)
    for defect in local(case.site.defects, case.track, stance.rows, reach):
        if height_m(defect) > 0:
            at = near(defect.geometry, case.track.x[stance.rows], case.track.y[stance.rows], reach)
            if at.size:
                _offer(case, stance, ledger, defect, at)


def _offer(case: Case, stance: Stance, ledger: Ledger, defect: Defect, at: Ints) -> None:
    after = np.minimum(at + 1, len(stance.rows) - 1)
    edges, normals = _outline(defect)
    arrows = np.concatenate([stance.heading[at], stance.heading[after]], axis=1)
    aslant = _angles(normals, arrows)
    met = np.zeros(len(at), bool)
    limit = case.site.thresholds.kerb_angle_deg
    for wheel, tyre in enumerate(_tyres(case, stance, at, after)):
        under = shapely.intersects(tyre[:, None], edges[None, :])
        angle = np.fmax(aslant, _angles(normals, _goes(stance, at, after, wheel)))
        ledger.offer(
            "kerb angle", stance.rows[at], np.where(under, limit - angle, math.nan), value=angle, limit=limit
        )  # fmt: skip
        met |= under.any(axis=1)
    some = np.unique(np.concatenate([at[met], after[met]]))
    if not some.size:
        return
    clean = disc_levels(case, stance.hub_x[some], stance.hub_y[some], stance.heading[some], clean=True)
    slope, most = np.abs(np.degrees(np.arctan(settle(case, clean).roll))), case.site.thresholds.kerb_side_slope_deg
    sure = case.sure(stance.hub_x[some], stance.hub_y[some], ledger.k)
    sigma = np.degrees(np.asarray(sure.roll))
    ledger.offer("kerb side slope", stance.rows[some], most - slope, value=slope, limit=most, sigma=sigma)


def _outline(defect: Defect) -> tuple[NDArray[np.object_], Floats]:
    """Edges of an outline, and the bearing of each edge's normal, radians."""
    rings = [shapely.get_coordinates(ring) for ring in (defect.geometry.exterior, *defect.geometry.interiors)]
    first, last = (np.concatenate([ring[part] for ring in rings]) for part in (slice(None, -1), slice(1, None)))
    east, north = (last - first).T
    return shapely.linestrings(np.stack([first, last], axis=1)), np.arctan2(-east, north)


def _tyres(case: Case, stance: Stance, at: Ints, after: Ints) -> Iterator[NDArray[np.object_]]:
    """For each wheel the ground that its tyre, seen from above, sweeps within the tube from samples to the next."""
    cos, sin = np.cos(stance.heading), np.sin(stance.heading)
    for n, wheel in enumerate(case.machine.wheels):
        corners = [(a * wheel.radius_m, b * wheel.width_m / 2) for a in (-1, 1) for b in (-1, 1)]
        x = np.concatenate([stance.hub_x[..., n] + cos * u - sin * v for u, v in corners], axis=1)
        y = np.concatenate([stance.hub_y[..., n] + sin * u + cos * v for u, v in corners], axis=1)
        yield hulls(np.hstack([x[at], x[after]]), np.hstack([y[at], y[after]]))


def _goes(stance: Stance, at: Ints, after: Ints, wheel: int) -> Floats:
    """Bearings of where a hub goes from samples to the next, ``(n, 9)`` radians; NaN where it stays."""
    dx = stance.hub_x[after, :, wheel] - stance.hub_x[at, :, wheel]
    dy = stance.hub_y[after, :, wheel] - stance.hub_y[at, :, wheel]
    return np.where(np.hypot(dx, dy) > _STILL_M, np.arctan2(dy, dx), math.nan)


def _angles(normals: Floats, bearings: Floats) -> Floats:
    """Largest angle between normals ``(m,)`` and any of some bearings ``(n, some)`` as lines, ``(n, m)`` degrees."""
    away = np.remainder(bearings[:, None, :] - normals[None, :, None] + math.pi / 2, math.pi) - math.pi / 2
    return np.asarray(np.degrees(np.fmax.reduce(np.abs(away), axis=2)))
