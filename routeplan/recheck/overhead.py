"""What is overhead: the operator's head and every box top against soffits, with the bounce they may meet them on."""

from __future__ import annotations

import math

import numpy as np
import shapely

from routeplan.recheck.bounce import defects, excess, feature_defects, levers
from routeplan.recheck.case import Case
from routeplan.recheck.ledger import Ledger
from routeplan.recheck.levels import KNOWN_BELOW_M
from routeplan.recheck.overlap import Corners, overlap_corners
from routeplan.recheck.stance import Stance
from routeplan.recheck.touch import local, near
from routeplan.recheck.track import Floats, Ints
from routeplan.site.model import Soffit

#: Segments to a quarter circle when an outline is grown; the circle is drawn round, not in.
ROUND_SEGMENTS = 32


def offer_overhead(case: Case, stance: Stance, ledger: Ledger) -> None:
    """Offer head gap (when ridden) and overhead clearance of every soffit the body comes under."""
    limits = case.site.thresholds
    parts: list[tuple[str, Floats, float, float, float]] = []
    for box in case.configuration.boxes:
        required = limits.body_gap_m if box.occupied and case.ridden else limits.structure_clearance_m
        parts.append(("overhead clearance", np.array(box.ring), box.top_m, required, limits.structure_clearance_m))
    if case.ridden:
        basket = case.configuration.basket
        head = basket.floor_height_m + limits.head_height_m
        parts.append(("head gap", np.array(basket.ring), head, limits.head_gap_m, limits.head_gap_m))
    reach = max(float(np.hypot(*part[1].T).max()) + part[2] for part in parts) * 2 + limits.head_gap_m
    for soffit in local(case.site.soffits, case.track, stance.rows, reach):
        for kind, ring, zeta, required, reach in parts:
            _under(case, stance, ledger, soffit, kind=kind, ring=ring, zeta_m=zeta, required_m=required, reach_m=reach)


def grown(soffit: Soffit, reach_m: float) -> shapely.Geometry:
    """The outline within which a soffit counts, never smaller than the true one."""
    return soffit.geometry.buffer(reach_m / math.cos(math.pi / (4 * ROUND_SEGMENTS)), quad_segs=ROUND_SEGMENTS)


def _under(
    case: Case,
    stance: Stance,
    ledger: Ledger,
    soffit: Soffit,
    *,
    kind: str,
    ring: Floats,
    zeta_m: float,
    required_m: float,
    reach_m: float,
) -> None:
    far = float(np.hypot(*ring.T).max()) + zeta_m
    x, y = case.track.x[stance.rows], case.track.y[stance.rows]
    at = near(soffit.geometry, x, y, far + float(case.tube_reach_m(far)) + reach_m)
    if not at.size:
        return
    if soffit.sigma_m is None:
        _leave_open(stance.pick(at), ledger, soffit, kind, ring, zeta_m, reach_m)
    at = at[_may_touch(case, stance.pick(at), ledger.k, soffit, ring, zeta_m, required_m, far)]
    close = stance.pick(at)
    piece = None if soffit.clear_m is None else case.levels.cell_m / 2
    corners = overlap_corners(close, ring, zeta_m, grown(soffit, reach_m), piece_m=piece) if at.size else None
    if corners is None:
        return
    used, position = np.unique(corners.at, return_inverse=True)
    defect = defects(case, close.pick(used))[position, corners.variant]
    lever = levers(case.machine, corners.xi, corners.eta)
    lift = case.site.thresholds.tip_participation * 2.0 * np.max(lever * defect, axis=-1)
    gap = soffit_level(case, soffit, corners) - (corners.z + lift)
    sigma = np.hypot(case.sigmas.point(corners.xi, corners.eta), soffit_sigma_m(case, soffit))
    ledger.offer(kind, corners.rows, gap - required_m, value=gap, limit=required_m, sigma=sigma)


def _leave_open(
    stance: Stance, ledger: Ledger, soffit: Soffit, kind: str, ring: Floats, zeta_m: float, reach_m: float
) -> None:
    if kind not in ledger.open and overlap_corners(stance, ring, zeta_m, grown(soffit, reach_m)) is not None:
        ledger.leave_open(kind, f"soffit {soffit.id} has no sigma")


def soffit_level(case: Case, soffit: Soffit, corners: Corners) -> Floats:
    """Level of a soffit at corners, metres; NaN where a clear height stands on an unknown level."""
    if soffit.level_m is not None:
        middle = soffit.geometry.centroid
        fall = soffit.fall_x * (corners.x - middle.x) + soffit.fall_y * (corners.y - middle.y)
        return np.asarray(soffit.level_m + fall)
    ground = case.levels.real.at(corners.x, corners.y)
    return np.where(ground > KNOWN_BELOW_M, np.nan, ground + _clear_m(soffit))


def _clear_m(soffit: Soffit) -> float:
    return math.nan if soffit.clear_m is None else soffit.clear_m


def soffit_sigma_m(case: Case, soffit: Soffit) -> float:
    """Sigma of a soffit against the levels: its own, and the levels' datum where another survey gave a level."""
    own = soffit.sigma_m or 0.0
    accuracy = case.site.ground.accuracy
    return math.hypot(own, accuracy.datum_m if soffit.level_m is not None and soffit.survey != accuracy.survey else 0.0)


def _may_touch(
    case: Case,
    stance: Stance,
    k: float,
    soffit: Soffit,
    ring: Floats,
    zeta_m: float,
    required_m: float,
    far_m: float,
) -> Ints:
    """Where the highest corner, lifted by all defects near, may come too close to the lowest of the soffit."""
    xi, eta = ring.T
    top = stance.planes.heights(xi, eta, np.full(len(ring), zeta_m)).max(axis=(1, 2, 3))
    near_by = np.maximum(case.levels.defect.bound(stance.hub_x, stance.hub_y), feature_defects(case, stance))
    lift = excess(case, levers(case.machine, xi, eta), near_by).max(axis=(1, 2))
    x, y = case.track.x[stance.rows], case.track.y[stance.rows]
    reach = far_m + float(case.tube_reach_m(far_m)) + required_m
    if soffit.level_m is not None:
        middle = soffit.geometry.centroid
        low = soffit.level_m + soffit.fall_x * (x - middle.x) + soffit.fall_y * (y - middle.y)
        low = low - math.hypot(soffit.fall_x, soffit.fall_y) * reach
    else:
        lowest = case.levels.extreme(reach, highest=False)
        low = case.levels.nearest(lowest, x, y, outside=-np.inf) + _clear_m(soffit)
    sigma = math.hypot(float(case.sigmas.point(xi, eta).max()), soffit_sigma_m(case, soffit))
    return np.flatnonzero(~(low - (top + lift) - required_m > k * sigma))
