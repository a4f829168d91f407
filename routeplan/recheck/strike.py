"""Ground strike: the underside of every box against the ground and raised features below it, and levels known there."""

from __future__ import annotations

import math

import numpy as np

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
#: Largest spacing of points on the outline of an underside, metres; never more than a quarter of a cell.
POINT_SPACING_M = 0.125
#: Samples handled at once in the exact check.
SAMPLES_AT_ONCE = 128


def offer_strike(case: Case, stance: Stance, ledger: Ledger) -> None:
    """Offer ground strike and unknown levels under the body, box by box."""
    for box in case.configuration.boxes:
        at = np.flatnonzero(_may_strike(case, stance, box, ledger.k))
        for first in range(0, len(at), SAMPLES_AT_ONCE):
            close = stance.pick(at[first : first + SAMPLES_AT_ONCE])
            _strike_outline(case, close, ledger, box)
            _strike_nodes(case, close, ledger, box)
        _strike_features(case, stance, ledger, box)


def outline_points(box: Box, spacing_m: float) -> tuple[Floats, Floats]:
    """Points on the outline of an underside, corners included, not further apart than the spacing."""
    ring = np.array(box.ring)
    edges = np.roll(ring, -1, axis=0) - ring
    counts = np.maximum(1, np.ceil(np.hypot(*edges.T) / spacing_m)).astype(int)
    points = np.concatenate(
        [ring[n] + np.linspace(0.0, 1.0, count, endpoint=False)[:, None] * edges[n] for n, count in enumerate(counts)]
    )
    return points[:, 0], points[:, 1]


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


def _strike_outline(case: Case, stance: Stance, ledger: Ledger, box: Box) -> None:
    xi, eta = outline_points(box, min(case.levels.cell_m / 4, POINT_SPACING_M))
    x, y, z = stance.place(xi, eta, np.full(len(xi), box.bottom_m))
    _offer(case, stance, ledger, z - case.levels.real.at(x, y), (xi, eta))


def _strike_nodes(case: Case, stance: Stance, ledger: Ledger, box: Box) -> None:
    """Inside the outline, ground that is bilinear comes closest to a plane at its nodes: these are looked at."""
    ring = np.array(box.ring)
    spare = _spare_m(case, stance, box)
    middle = ring.mean(axis=0)
    radius = float(np.hypot(*(ring - middle).T).max())
    x, y, ground = case.levels.nodes_about(*_middle(case, stance.rows, middle), radius + spare)
    cos, sin = np.cos(case.track.heading[stance.rows])[:, None], np.sin(case.track.heading[stance.rows])[:, None]
    dx, dy = x - case.track.x[stance.rows][:, None], y - case.track.y[stance.rows][:, None]
    ahead, aside = cos * dx + sin * dy, cos * dy - sin * dx
    (low_xi, low_eta), (high_xi, high_eta) = ring.min(axis=0) - spare, ring.max(axis=0) + spare
    close = np.nonzero((ahead >= low_xi) & (ahead <= high_xi) & (aside >= low_eta) & (aside <= high_eta))
    some = stance.pick(close[0])
    xi, eta, z = some.locate(x[close][:, None], y[close][:, None], box.bottom_m)
    inside = np.ones(xi.shape, dtype=bool)
    for (from_xi, from_eta), (to_xi, to_eta) in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        inside &= (to_xi - from_xi) * (eta - from_eta) - (to_eta - from_eta) * (xi - from_xi) >= 0
    gap = np.where(inside, z - ground[close][:, None, None, None], np.nan)
    _offer(case, some, ledger, gap, (xi, eta))


def _offer(case: Case, stance: Stance, ledger: Ledger, gap: Floats, at: tuple[Floats, Floats]) -> None:
    """Offer gaps below body points; a huge negative one stands over an unknown level, NaN over none."""
    unknown = gap < -KNOWN_BELOW_M
    gap = np.where(unknown, np.nan, gap)
    clearance = case.site.thresholds.ground_clearance_m
    sigma = case.sure(stance.hub_x, stance.hub_y, ledger.k).gap_in(*at)
    ledger.offer("ground strike", stance.rows, gap - clearance, value=gap, limit=clearance, sigma=sigma)
    share = 1.0 - unknown.mean(axis=(1, 2, 3))
    ledger.offer("levels known", stance.rows, share - 1.0, value=share, limit=1.0)


def _spare_m(case: Case, stance: Stance, box: Box) -> float:
    """How far the tube and leaning move any point of an underside off its place on the line."""
    far = max(float(np.hypot(*corner)) for corner in box.ring)
    slope = float(np.nan_to_num(np.hypot(stance.planes.pitch, stance.planes.roll)).max())
    return float(case.tube_reach_m(far)) + (box.bottom_m + far * slope) * slope


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
        close = stance.pick(at)
        corners = overlap_corners(close, xy, box.bottom_m, defect.geometry, piece_m=case.levels.cell_m / 2)
        if corners is None:
            continue
        top = case.levels.clean.at(corners.x, corners.y) + defect.height_m
        gap = np.where(top > KNOWN_BELOW_M, np.nan, corners.z - top)
        sure = case.sure(close.hub_x, close.hub_y, ledger.k)
        heights = sure.point_in((corners.at, corners.variant), corners.xi, corners.eta)
        sigma = np.hypot(heights, case.sigmas.accuracy.short_range_m)
        ledger.offer("ground strike", corners.rows, gap - clearance, value=gap, limit=clearance, sigma=sigma)


def _middle(case: Case, rows: Ints, middle: Floats) -> tuple[Floats, Floats]:
    cos, sin = np.cos(case.track.heading[rows]), np.sin(case.track.heading[rows])
    return (
        case.track.x[rows] + cos * middle[0] - sin * middle[1],
        case.track.y[rows] + sin * middle[0] + cos * middle[1],
    )
