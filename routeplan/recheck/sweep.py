"""The body in plan: exact hulls of every leaning part over the tube, from sample to sample, against what stands about.

A part that reaches over both sides of the machine's origin is cut there: each half turns to one side only, so that the
convex hull of its placements is what it sweeps, and not more.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from routeplan.machine.model import Box
from routeplan.recheck.case import Case
from routeplan.recheck.ledger import Ledger
from routeplan.recheck.stance import Stance
from routeplan.recheck.touch import gaps, hulls, local, near
from routeplan.recheck.track import SAMPLE_STEP_M, Floats, Ints
from routeplan.site.model import Obstacle

#: Variants of the tube that bound it sideways: both offsets at each heading.
SIDES = np.array([0, 2, 3, 5, 6, 8])


@dataclass(frozen=True, eq=False)
class Part:
    """One side of a box: corners in the machine frame, twice (bottom and top), and a circle round it in plan."""

    box: Box
    xi: Floats
    eta: Floats
    zeta: Floats
    middle: Floats
    radius_m: float


@dataclass
class Crossing:
    """Steps of the track, by first sample, in which the body is over a walkway."""

    walkway: str
    steps: list[int]


def parts_of(box: Box) -> Iterator[Part]:
    """Halves of a box on either side of the machine's origin."""
    ring = np.array(box.ring)
    for side in (1.0, -1.0):
        half = _clip(ring, side)
        if len(half) >= 3:
            xi, eta = np.tile(half.T, 2)
            zeta = np.repeat([box.bottom_m, box.top_m], len(half))
            middle = (half.min(axis=0) + half.max(axis=0)) / 2
            yield Part(box, xi, eta, zeta, middle, float(np.hypot(*(half - middle).T).max()))


def _clip(ring: Floats, side: float) -> Floats:
    """The part of a convex ring with ``side * xi >= 0``."""
    kept: list[Floats] = []
    for here, after in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        if side * here[0] >= 0:
            kept.append(here)
        if here[0] * after[0] < 0:
            kept.append(here + (after - here) * here[0] / (here[0] - after[0]))
    clipped = np.array(kept).reshape(-1, 2)
    return clipped if np.any(clipped[:, 0] != 0) else clipped[:0]


def offer_sweep(case: Case, stance: Stance, ledger: Ledger, crossings: list[Crossing]) -> None:
    """Offer side clearance, overhead lines and closed areas; collect the steps in which a body is over a walkway."""
    far = max(np.hypot(*corner) + box.top_m for box in case.configuration.boxes for corner in box.ring)
    reach = 2 * float(far) + case.site.thresholds.body_gap_m
    obstacles = local(case.site.obstacles, case.track, stance.rows, reach)
    barred = [("overhead lines", line.geometry) for line in case.site.line_corridors if line.height is None]
    barred += [("closed areas", area.geometry) for area in case.site.areas if case.closed(area)]
    for box in case.configuration.boxes:
        for part in parts_of(box):
            swept = Sweep(case, stance, part)
            for obstacle in obstacles:
                _offer_obstacle(case, swept, ledger, obstacle)
            _offer_boundary(case, swept, ledger)
            for kind, geometry in barred:
                _offer_barred(swept, ledger, kind, geometry)
            _cross_walkways(case, swept, crossings)


def _offer_barred(swept: Sweep, ledger: Ledger, kind: str, geometry: Polygon) -> None:
    at = swept.near(geometry, 0.0)
    if at.size:
        distance, overlap = gaps(swept.shapes(at), geometry)
        ledger.offer(kind, swept.stance.rows[at], np.where(overlap, -np.inf, distance), value=distance, limit=0.0)


def _cross_walkways(case: Case, swept: Sweep, crossings: list[Crossing]) -> None:
    for walkway in case.site.walkways:
        at = swept.near(walkway.geometry, 0.0)
        if at.size:
            _distance, overlap = gaps(swept.shapes(at), walkway.geometry)
            crossings.append(Crossing(walkway.id, swept.stance.rows[at[overlap]].tolist()))


def _offer_obstacle(case: Case, swept: Sweep, ledger: Ledger, obstacle: Obstacle) -> None:
    limits, box = case.site.thresholds, swept.part.box
    at = swept.near(obstacle.geometry, max(limits.body_gap_m, limits.structure_clearance_m))
    if not at.size:
        return
    top = np.inf if obstacle.top_m is None else obstacle.top_m
    under = swept.undersides(at)
    required = np.full(len(at), limits.structure_clearance_m)
    if box.occupied and case.ridden:
        required = np.where(top > under, limits.body_gap_m, required)
    # An underside on unknown ground passes over nothing.
    over = top <= under - limits.ground_clearance_m
    distance, overlap = gaps(swept.shapes(at), obstacle.geometry)
    margin = np.where(over, np.nan, np.where(overlap & (required <= 0), -np.inf, distance - required))
    ledger.offer("side clearance", swept.stance.rows[at], margin, value=distance, limit=required)


def _offer_boundary(case: Case, swept: Sweep, ledger: Ledger) -> None:
    required = case.site.thresholds.structure_clearance_m
    edge, rows = case.site.boundary.boundary, swept.stance.rows
    outside = ~shapely.contains_xy(case.site.boundary, case.track.x[rows], case.track.y[rows])
    ledger.offer("side clearance", rows, np.where(outside, -np.inf, np.nan), value=0.0, limit=required)
    at = swept.near(edge, required)
    if at.size:
        shapes = swept.shapes(at)
        shapely.prepare(case.site.boundary)
        within = shapely.covers(case.site.boundary, shapes)
        distance = np.where(within, shapely.distance(shapes, edge), 0.0)
        margin = np.where(within, distance - required, -np.inf)
        ledger.offer("side clearance", rows[at], margin, value=distance, limit=required)


class Sweep:
    """What one part sweeps, step by step, made only where something is near."""

    def __init__(self, case: Case, stance: Stance, part: Part) -> None:
        self.stance, self.part = stance, part
        cos, sin = np.cos(case.track.heading[stance.rows]), np.sin(case.track.heading[stance.rows])
        self._x = case.track.x[stance.rows] + cos * part.middle[0] - sin * part.middle[1]
        self._y = case.track.y[stance.rows] + sin * part.middle[0] + cos * part.middle[1]
        slope = np.nan_to_num(np.hypot(stance.planes.pitch, stance.planes.roll)).max(initial=0.0)
        far = float(np.hypot(*part.middle)) + part.radius_m
        lean = (part.box.top_m + far * slope) * slope
        self._reach_m = part.radius_m + float(case.tube_reach_m(far)) + lean + SAMPLE_STEP_M
        self._made: dict[int, tuple[BaseGeometry, float]] = {}

    def near(self, geometry: BaseGeometry, required_m: float) -> Ints:
        """Steps (by position in the stance) in which the part may come within a distance of a geometry."""
        return near(geometry, self._x, self._y, self._reach_m + required_m)

    def shapes(self, at: Ints) -> NDArray[np.object_]:
        """Hulls of steps."""
        self._make(at)
        return np.array([self._made[step][0] for step in at.tolist()], dtype=object)

    def undersides(self, at: Ints) -> Floats:
        """Lowest level of the part's underside in steps, metres."""
        self._make(at)
        return np.array([self._made[step][1] for step in at.tolist()])

    def _make(self, at: Ints) -> None:
        new = np.array([step for step in at.tolist() if step not in self._made], dtype=np.intp)
        if not new.size:
            return
        after = np.minimum(new + 1, len(self.stance.rows) - 1)
        used, position = np.unique(np.concatenate([new, after]), return_inverse=True)
        x, y, z = self.stance.pick(used).place(self.part.xi, self.part.eta, self.part.zeta)
        x, y = (np.stack([side[position[: len(new)]], side[position[len(new) :]]], axis=1) for side in (x, y))
        x, y = (side[:, :, SIDES].reshape(len(new), -1) for side in (x, y))
        low = z[..., : len(self.part.zeta) // 2].min(axis=(1, 2, 3))
        low = np.minimum(low[position[: len(new)]], low[position[len(new) :]])
        for step, shape, level in zip(new.tolist(), hulls(x, y), low.tolist(), strict=True):
            self._made[step] = (shape, level)
