"""What is overhead: the operator's head and every box top against soffits, with the bounce they may meet them on."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

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


def tops_of(case: Case) -> list[Top]:
    """The head of whoever rides, and every box, against soffits."""
    limits, basket = case.site.thresholds, case.configuration.basket
    head = Top(
        "head gap", np.array(basket.ring), basket.floor_height_m + limits.head_height_m, limits.head_gap_m,
        limits.head_gap_m,
    )  # fmt: skip
    tops = [head] if case.ridden else []
    for box in case.configuration.boxes:
        required = limits.body_gap_m if box.occupied and case.ridden else limits.structure_clearance_m
        tops.append(Top("overhead clearance", np.array(box.ring), box.top_m, required, limits.structure_clearance_m))
    return tops


def overhead(case: Case, rows: Ints) -> Iterator[tuple[Soffit, Top]]:
    """Soffits, and the lowest conductors of lines that are passed under, with each top that may come under them."""
    tops = tops_of(case)
    for soffit in local(case.site.soffits, case.track, rows, _far_m(case, tops)):
        for top in tops:
            yield soffit, top
    for line in _passed_under(case, tops, rows):
        if line.height is not None:
            lowest, kept = _conductor(line, line.height), line.height.sag_m + line.distance_m
            for top in tops:
                yield lowest, replace(top, kind="line clearance", required_m=kept, reach_m=0.0)


def offer_overhead(case: Case, stance: Stance, ledger: Ledger) -> None:
    """Offer head gap (when ridden), overhead clearance and line clearance of all that the body comes under."""
    for soffit, top in overhead(case, stance.rows):
        _under(case, stance, ledger, soffit, top)
    tops = tops_of(case)
    for line in _passed_under(case, tops, stance.rows):
        if line.id not in ledger.under_lines:  # samples are looked at in driving order
            _note_passage(case, stance, ledger, line, tops)


def _far_m(case: Case, tops: Sequence[Top]) -> float:
    """Farther than from where any top may come under anything."""
    return max(top.far_m for top in tops) * 2 + case.site.thresholds.head_gap_m


def _passed_under(case: Case, tops: Sequence[Top], rows: Ints) -> list[LineCorridor]:
    """Lines of a known height that some top may come under in some samples."""
    lines = local(case.site.line_corridors, case.track, rows, _far_m(case, tops))
    return [line for line in lines if line.height is not None]


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


def under(case: Case, stance: Stance, soffit: Soffit, top: Top) -> Ints:
    """Positions of samples in which a top may come under a soffit."""
    x, y = case.track.x[stance.rows], case.track.y[stance.rows]
    return near(soffit.geometry, x, y, top.far_m + float(case.tube_reach_m(top.far_m)) + top.reach_m)


def corners_under(case: Case, stance: Stance, soffit: Soffit, top: Top) -> Corners | None:
    """Where a top lies under a soffit: what governs the gap between them."""
    piece = None if soffit.clear_m is None else case.levels.cell_m / 2
    return overlap_corners(stance, top.ring, top.zeta_m, grown(soffit, top.reach_m), piece_m=piece)


def _under(case: Case, stance: Stance, ledger: Ledger, soffit: Soffit, top: Top) -> None:
    at = under(case, stance, soffit, top)
    if not at.size:
        return
    if soffit.sigma_m is None:
        _leave_open(stance.pick(at), ledger, soffit, top)
    room = lowest_room(case, stance.pick(at), soffit, top)
    lift, sigma = _most_lift(case, stance.pick(at), top), gap_sigma_m(case, soffit, *top.ring.T).max()
    close = stance.pick(at[~(room - lift > ledger.k * sigma)])
    corners = corners_under(case, close, soffit, top) if close.rows.size else None
    if corners is None:
        return
    used, position = np.unique(corners.at, return_inverse=True)
    defect = defects(case, close.pick(used))[position, corners.variant]
    lever = levers(case.machine, corners.xi, corners.eta)
    lifted = case.site.thresholds.tip_participation * 2.0 * np.max(lever * defect, axis=-1)
    gap = soffit_level(case, soffit, corners) - (corners.z + lifted)
    sigma = sure_gap_m(case, close, soffit, corners, ledger.k)
    ledger.offer(top.kind, corners.rows, gap - top.required_m, value=gap, limit=top.required_m, sigma=sigma)


def gap_sigma_m(case: Case, soffit: Soffit, xi: Floats, eta: Floats) -> Floats:
    """Sigma of the gap between body points and a soffit."""
    return np.asarray(np.hypot(case.sigmas.point(xi, eta), soffit_sigma_m(case, soffit)))


def sure_gap_m(case: Case, stance: Stance, soffit: Soffit, corners: Corners, k: float) -> Floats:
    """The same after readings, at corners of what lies under the soffit in some stance."""
    sure = case.sure(stance.hub_x, stance.hub_y, k)
    levels = sure.point_in((corners.at, corners.variant), corners.xi, corners.eta)
    return np.asarray(np.hypot(levels, soffit_sigma_m(case, soffit)))


def _leave_open(stance: Stance, ledger: Ledger, soffit: Soffit, top: Top) -> None:
    outline = grown(soffit, top.reach_m)
    if top.kind not in ledger.open and overlap_corners(stance, top.ring, top.zeta_m, outline) is not None:
        what = "line" if top.kind == "line clearance" else "soffit"
        for kind in (top.kind, "basket swing"):
            ledger.leave_open(kind, f"{what} {soffit.id} has no sigma")


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


def _most_lift(case: Case, stance: Stance, top: Top) -> Floats:
    """Never below what a top is lifted by all defects near, ``(n,)``."""
    near_by = np.maximum(case.levels.defect.bound(stance.hub_x, stance.hub_y), feature_defects(case, stance))
    return np.asarray(excess(case, levers(case.machine, *top.ring.T), near_by).max(axis=(1, 2)))


def lowest_room(case: Case, stance: Stance, soffit: Soffit, top: Top) -> Floats:
    """Never above what the rigid top leaves of a soffit beyond the gap wanted, ``(n,)``."""
    xi, eta = top.ring.T
    highest = stance.planes.heights(xi, eta, np.full(len(xi), top.zeta_m)).max(axis=(1, 2, 3))
    x, y = case.track.x[stance.rows], case.track.y[stance.rows]
    reach = top.far_m + float(case.tube_reach_m(top.far_m)) + top.required_m
    if soffit.level_m is not None:
        middle = soffit.geometry.centroid
        low = soffit.level_m + soffit.fall_x * (x - middle.x) + soffit.fall_y * (y - middle.y)
        low = low - math.hypot(soffit.fall_x, soffit.fall_y) * reach
    else:
        lowest = case.levels.extreme(reach, highest=False)
        low = case.levels.nearest(lowest, x, y, outside=-np.inf) + _clear_m(soffit)
    return np.asarray(low - highest - top.required_m)
