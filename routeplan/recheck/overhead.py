"""What is overhead: the operator's head and every box top against soffits, with the bounce they may meet them on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from routeplan.recheck.bounce import defects, excess, feature_defects, levers
from routeplan.recheck.case import Case
from routeplan.recheck.ledger import Ledger
from routeplan.recheck.levels import KNOWN_BELOW_M
from routeplan.recheck.overlap import Corners, overlap_corners, overlapping
from routeplan.recheck.stance import Stance
from routeplan.recheck.touch import local, near
from routeplan.recheck.track import Floats, Ints
from routeplan.site.model import LineCorridor, LineHeight, Soffit

#: Segments to a quarter circle when an outline is grown; the circle is drawn round, not in.
ROUND_SEGMENTS = 32


@dataclass(frozen=True, eq=False)
class Top:
    """A level top of the machine against one kind of thing overhead.

    ``ring`` in the machine frame, ``zeta_m`` its height; ``required_m`` is the gap wanted, and things count within
    ``reach_m`` of it in plan.
    """

    kind: str
    ring: Floats
    zeta_m: float
    required_m: float
    reach_m: float

    @property
    def far_m(self) -> float:
        """How far from the origin it may be seen from above, however the machine leans."""
        return float(np.hypot(*self.ring.T).max()) + self.zeta_m


def offer_overhead(case: Case, stance: Stance, ledger: Ledger) -> None:
    """Offer head gap (when ridden), overhead clearance and line clearance of all that the body comes under."""
    limits, basket = case.site.thresholds, case.configuration.basket
    boxes = [(np.array(box.ring), box.top_m, box.occupied and case.ridden) for box in case.configuration.boxes]
    heads = [(np.array(basket.ring), basket.floor_height_m + limits.head_height_m)] if case.ridden else []
    tops = [Top("head gap", ring, zeta, limits.head_gap_m, limits.head_gap_m) for ring, zeta in heads]
    for ring, zeta, occupied in boxes:
        required = limits.body_gap_m if occupied else limits.structure_clearance_m
        tops.append(Top("overhead clearance", ring, zeta, required, limits.structure_clearance_m))
    reach = max(top.far_m for top in tops) * 2 + limits.head_gap_m
    for soffit in local(case.site.soffits, case.track, stance.rows, reach):
        for top in tops:
            _under(case, stance, ledger, soffit, top)
    for line in local(case.site.line_corridors, case.track, stance.rows, reach):
        if line.height is not None:
            lowest, kept = _conductor(line, line.height), line.height.sag_m + line.distance_m
            for ring, zeta in ((top.ring, top.zeta_m) for top in tops):
                top = Top("line clearance", ring, zeta, kept, 0.0)
                _under(case, stance, ledger, lowest, top)
            if line.id not in ledger.under_lines:  # samples are looked at in driving order
                _note_passage(case, stance, ledger, line, tops)


def _note_passage(case: Case, stance: Stance, ledger: Ledger, line: LineCorridor, tops: Sequence[Top]) -> None:
    """Note where any top first comes under a line, however high that hangs."""
    x, y, rows = case.track.x[stance.rows], case.track.y[stance.rows], list[int]()
    for top in tops:
        at = near(line.geometry, x, y, top.far_m + float(case.tube_reach_m(top.far_m)))
        if at.size:
            rows += overlapping(stance.pick(at), top.ring, top.zeta_m, line.geometry).tolist()
    if rows:
        ledger.under_lines[line.id] = min(rows)


def _conductor(line: LineCorridor, height: LineHeight) -> Soffit:
    """The lowest conductor of a line where it was measured, as if it hung everywhere over the ground that counts."""
    return Soffit(line.id, line.geometry, "line", height.level_m, None, 0.0, 0.0, height.sigma_m, height.survey)


def grown(soffit: Soffit, reach_m: float) -> shapely.Geometry:
    """The outline within which a soffit counts, never smaller than the true one."""
    return soffit.geometry.buffer(reach_m / math.cos(math.pi / (4 * ROUND_SEGMENTS)), quad_segs=ROUND_SEGMENTS)


def _under(case: Case, stance: Stance, ledger: Ledger, soffit: Soffit, top: Top) -> None:
    x, y = case.track.x[stance.rows], case.track.y[stance.rows]
    at = near(soffit.geometry, x, y, top.far_m + float(case.tube_reach_m(top.far_m)) + top.reach_m)
    if not at.size:
        return
    if soffit.sigma_m is None:
        _leave_open(stance.pick(at), ledger, soffit, top)
    at = at[_may_touch(case, stance.pick(at), ledger.k, soffit, top)]
    close = stance.pick(at)
    piece = None if soffit.clear_m is None else case.levels.cell_m / 2
    outline = grown(soffit, top.reach_m)
    corners = overlap_corners(close, top.ring, top.zeta_m, outline, piece_m=piece) if at.size else None
    if corners is None:
        return
    used, position = np.unique(corners.at, return_inverse=True)
    defect = defects(case, close.pick(used))[position, corners.variant]
    lever = levers(case.machine, corners.xi, corners.eta)
    lift = case.site.thresholds.tip_participation * 2.0 * np.max(lever * defect, axis=-1)
    gap = soffit_level(case, soffit, corners) - (corners.z + lift)
    sigma = np.hypot(case.sigmas.point(corners.xi, corners.eta), soffit_sigma_m(case, soffit))
    ledger.offer(top.kind, corners.rows, gap - top.required_m, value=gap, limit=top.required_m, sigma=sigma)


def _leave_open(stance: Stance, ledger: Ledger, soffit: Soffit, top: Top) -> None:
    outline = grown(soffit, top.reach_m)
    if top.kind not in ledger.open and overlap_corners(stance, top.ring, top.zeta_m, outline) is not None:
        what = "line" if top.kind == "line clearance" else "soffit"
        ledger.leave_open(top.kind, f"{what} {soffit.id} has no sigma")


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


def _may_touch(case: Case, stance: Stance, k: float, soffit: Soffit, part: Top) -> Ints:
    """Where the highest corner, lifted by all defects near, may come too close to the lowest of the soffit."""
    xi, eta = part.ring.T
    top = stance.planes.heights(xi, eta, np.full(len(part.ring), part.zeta_m)).max(axis=(1, 2, 3))
    near_by = np.maximum(case.levels.defect.bound(stance.hub_x, stance.hub_y), feature_defects(case, stance))
    lift = excess(case, levers(case.machine, xi, eta), near_by).max(axis=(1, 2))
    x, y = case.track.x[stance.rows], case.track.y[stance.rows]
    reach = part.far_m + float(case.tube_reach_m(part.far_m)) + part.required_m
    if soffit.level_m is not None:
        middle = soffit.geometry.centroid
        low = soffit.level_m + soffit.fall_x * (x - middle.x) + soffit.fall_y * (y - middle.y)
        low = low - math.hypot(soffit.fall_x, soffit.fall_y) * reach
    else:
        lowest = case.levels.extreme(reach, highest=False)
        low = case.levels.nearest(lowest, x, y, outside=-np.inf) + _clear_m(soffit)
    sigma = math.hypot(float(case.sigmas.point(xi, eta).max()), soffit_sigma_m(case, soffit))
    return np.flatnonzero(~(low - (top + lift) - part.required_m > k * sigma))
