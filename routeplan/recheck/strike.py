"""Ground strike: the underside of every box against the ground and raised features below it, and levels known there."""

from __future__ import annotations

import math

import numpy as np
import shapely

from routeplan.machine.model import Box
from routeplan.recheck.case import Case
from routeplan.recheck.ledger import Ledger
from routeplan.recheck.levels import KNOWN_BELOW_M
from routeplan.recheck.overlap import overlap_corners
from routeplan.recheck.stance import Stance
from routeplan.recheck.touch import near
from routeplan.recheck.track import Floats, Ints

#: Size of the pieces of an underside that a quick bound is made for, metres.
PIECE_M = 0.4
#: Largest spacing of points of an underside in the exact check, metres; never more than half a cell.
POINT_SPACING_M = 0.125
#: Points handled at once in the exact check.
POINTS_AT_ONCE = 2_000_000


def offer_strike(case: Case, stance: Stance, ledger: Ledger) -> None:
    """Offer ground strike and unknown levels under the body, box by box."""
    for box in case.configuration.boxes:
        at = np.flatnonzero(_may_strike(case, stance, box, ledger.k))
        xi, eta = underside_points(box, min(case.levels.cell_m / 2, POINT_SPACING_M))
        size = max(1, POINTS_AT_ONCE // (18 * len(xi)))
        for first in range(0, len(at), size):
            _strike(case, stance.pick(at[first : first + size]), ledger, box, (xi, eta))
        _strike_features(case, stance, ledger, box)


def underside_points(box: Box, spacing_m: float) -> tuple[Floats, Floats]:
    """Points all over an underside, its outline and corners included, not further apart than the spacing."""
    ring = np.array(box.ring)
    edges = np.roll(ring, -1, axis=0) - ring
    counts = np.maximum(1, np.ceil(np.hypot(*edges.T) / spacing_m)).astype(int)
    outline = [
        ring[n] + np.linspace(0.0, 1.0, count, endpoint=False)[:, None] * edges[n] for n, count in enumerate(counts)
    ]
    (low_xi, low_eta), (high_xi, high_eta) = ring.min(axis=0), ring.max(axis=0)
    xi, eta = np.meshgrid(_spread(low_xi, high_xi, spacing_m), _spread(low_eta, high_eta, spacing_m))
    inside = shapely.contains_xy(shapely.Polygon(ring), xi.ravel(), eta.ravel())
    points = np.concatenate([*outline, np.stack([xi.ravel(), eta.ravel()], axis=-1)[inside]])
    return points[:, 0], points[:, 1]


def _spread(low: float, high: float, spacing_m: float) -> Floats:
    return np.linspace(low, high, max(2, math.ceil((high - low) / spacing_m) + 1))


def _may_strike(case: Case, stance: Stance, box: Box, k: float) -> Floats:
    """Where a bound that is never too high leaves room for a strike: lowest undersides against highest ground."""
    ring = np.array(box.ring)
    (low_xi, low_eta), (high_xi, high_eta) = ring.min(axis=0), ring.max(axis=0)
    corner_xi = np.array([low_xi, high_xi, low_xi, high_xi])
    corner_eta = np.array([low_eta, low_eta, high_eta, high_eta])
    height = stance.planes.heights(corner_xi, corner_eta, np.full(4, box.bottom_m)).min(axis=(1, 2))
    share_xi, share_eta = (np.linspace(0, 1, max(2, math.ceil(size / PIECE_M) + 1)) for size in np.ptp(ring, axis=0))
    middle_xi, middle_eta = (
        grid.ravel() for grid in np.meshgrid((share_xi[1:] + share_xi[:-1]) / 2, (share_eta[1:] + share_eta[:-1]) / 2)
    )
    weights = np.stack(
        [
            (1 - middle_xi) * (1 - middle_eta),
            middle_xi * (1 - middle_eta),
            (1 - middle_xi) * middle_eta,
            middle_xi * middle_eta,
        ]
    )
    xi, eta = low_xi + middle_xi * (high_xi - low_xi), low_eta + middle_eta * (high_eta - low_eta)
    piece = np.hypot((high_xi - low_xi) / (len(share_xi) - 1), (high_eta - low_eta) / (len(share_eta) - 1)) / 2
    slope = np.nan_to_num(np.hypot(stance.planes.pitch, stance.planes.roll)).max(axis=(1, 2))
    tube = float(np.max(case.tube_reach_m(np.hypot(xi, eta))))
    # A leaning body moves its underside by its height times the slope, and its far end draws in by second order.
    shift = (box.bottom_m + 0.5 * np.hypot(xi, eta).max() * slope.max()) * slope.max()
    top = case.levels.extreme(piece + tube + shift, highest=True)
    cos, sin = np.cos(case.track.heading[stance.rows])[:, None], np.sin(case.track.heading[stance.rows])[:, None]
    x = case.track.x[stance.rows][:, None] + cos * xi - sin * eta
    y = case.track.y[stance.rows][:, None] + sin * xi + cos * eta
    ground = case.levels.nearest(top, x, y, outside=np.inf)
    sigma = np.hypot(case.sigmas.point(corner_xi, corner_eta), case.sigmas.accuracy.short_range_m).max()
    gap = (height @ weights - slope[:, None] * piece - ground).min(axis=1)
    enough = case.site.thresholds.ground_clearance_m + k * sigma
    return np.asarray(~(gap > enough))


def _strike(case: Case, stance: Stance, ledger: Ledger, box: Box, points: tuple[Floats, Floats]) -> None:
    xi, eta = points
    x, y, z = stance.place(xi, eta, np.full(len(xi), box.bottom_m))
    ground = case.levels.real.at(x, y)
    unknown = ground > KNOWN_BELOW_M
    gap = np.where(unknown, np.nan, z - ground)
    clearance = case.site.thresholds.ground_clearance_m
    sigma = np.hypot(case.sigmas.point(xi, eta), case.sigmas.accuracy.short_range_m)
    ledger.offer("ground strike", stance.rows, gap - clearance, value=gap, limit=clearance, sigma=sigma)
    share = 1.0 - unknown.mean(axis=(1, 2, 3))
    ledger.offer("levels known", stance.rows, share - 1.0, value=share, limit=1.0)


def _strike_features(case: Case, stance: Stance, ledger: Ledger, box: Box) -> None:
    """Raised features of the layer stand on clean ground; a box may straddle them."""
    clearance = case.site.thresholds.ground_clearance_m
    xy = np.array(box.ring)
    middle = xy.mean(axis=0)
    reach = float(np.hypot(*(xy - middle).T).max())
    reach += float(case.tube_reach_m(float(np.hypot(*middle)) + reach)) + box.top_m
    x, y = _middle(case, stance.rows, middle)
    for defect in case.site.defects:
        at = near(defect.geometry, x, y, reach) if defect.height_m > 0 else np.zeros(0, dtype=np.intp)
        if not at.size:
            continue
        corners = overlap_corners(stance.pick(at), xy, box.bottom_m, defect.geometry, piece_m=case.levels.cell_m / 2)
        if corners is None:
            continue
        top = case.levels.clean.at(corners.x, corners.y) + defect.height_m
        gap = np.where(top > KNOWN_BELOW_M, np.nan, corners.z - top)
        sigma = np.hypot(case.sigmas.point(corners.xi, corners.eta), case.sigmas.accuracy.short_range_m)
        ledger.offer("ground strike", corners.rows, gap - clearance, value=gap, limit=clearance, sigma=sigma)


def _middle(case: Case, rows: Ints, middle: Floats) -> tuple[Floats, Floats]:
    cos, sin = np.cos(case.track.heading[rows]), np.sin(case.track.heading[rows])
    return (
        case.track.x[rows] + cos * middle[0] - sin * middle[1],
        case.track.y[rows] + sin * middle[0] + cos * middle[1],
    )
