"""Wheels against features: holes and steps that move them, ground they may not stand on, edges they keep away from."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon, box
from shapely.geometry.base import BaseGeometry

from routeplan.recheck.case import Case
from routeplan.recheck.ledger import Ledger
from routeplan.recheck.stance import Stance, disc_levels, rock
from routeplan.recheck.touch import gaps, hulls, local, near
from routeplan.recheck.track import SAMPLE_STEP_M, Floats, Ints
from routeplan.site.model import Acceptance, Defect

#: Features no tyre may touch, but for those that are proven, and trenches under these.
UNTOUCHED = ("cover", "plate", "trench")


def hole_drop_m(depth_m: float, width_m: float, radius_m: float) -> float:
    """How far a wheel sinks into a hole; a circle over a slot, ``R - sqrt(R^2 - (w/2)^2)``, never deeper than the hole.

    >>> round(hole_drop_m(1.0, 0.15, 0.15), 6)
    0.020096
    """
    if width_m >= 2 * radius_m:
        return depth_m
    return min(depth_m, radius_m - math.sqrt(radius_m**2 - (width_m / 2) ** 2))


def depth_m(defect: Defect) -> float:
    """How deep a wheel may find a feature; trenches and covers are kept off, so that no wheel sinks into them."""
    return defect.depth_m if defect.kind == "pothole" else 0.0


def height_m(defect: Defect) -> float:
    """How high a wheel may have to climb onto a feature; covers and plates that nobody proved are kept off."""
    return defect.height_m if defect.kind in ("kerb", "sill") or defect.proof is not None else 0.0


def crossed(case: Case, defect: Defect) -> bool:
    """Whether tyres may go over a cover or plate: it is proven on the day, and what it bears is the ground load's."""
    proof = defect.proof
    return proof is not None and not case.machine.tracks and case.holds(proof.date, proof.valid_until)


def feature_defect_m(defect: Defect, radius_m: float) -> float:
    """The defect a feature makes for a wheel: the drop of a hole or the height of a raised one."""
    return max(hole_drop_m(depth_m(defect), defect.width_m, radius_m), height_m(defect))


def wheel_reach_m(case: Case) -> float:
    """How far from the machine's origin any part of a tyre's contact line comes within the tube and one sample step."""
    far = max(math.hypot(w.xi_m, abs(w.eta_m) + w.width_m / 2) for w in case.machine.wheels)
    return float(case.tube_reach_m(far)) + far + SAMPLE_STEP_M


def meet_defects(case: Case, stance: Stance, ledger: Ledger) -> Stance:
    """The stance with wheels in the holes and on the raised features of the defects layer; offers the step check.

    Notes
    -----
    Raised features are counted after holes: a wheel on a kerb does not hang into the hole beside it.
    """
    level = stance.disc_m.copy()
    reach = wheel_reach_m(case) + max(wheel.radius_m for wheel in case.machine.wheels)
    moved = False
    about = local(case.site.defects, case.track, stance.rows, reach)
    for defect in sorted(about, key=height_m):
        if depth_m(defect) <= 0 and height_m(defect) <= 0:
            continue
        at = near(defect.geometry, case.track.x[stance.rows], case.track.y[stance.rows], reach)
        if at.size:
            moved = True
            _meet(case, stance, ledger, defect, at, level)
    return dataclasses.replace(stance, level_m=level, planes=rock(case, level)) if moved else stance


def _meet(case: Case, stance: Stance, ledger: Ledger, defect: Defect, at: Ints, level: Floats) -> None:
    distance = contact_distances(case, stance.pick(at), defect.geometry)
    clean = disc_levels(case, stance.hub_x[at], stance.hub_y[at], stance.heading[at], clean=True)
    now = level[at]
    for n, wheel in enumerate(case.machine.wheels):
        gap, radius = distance[..., n], wheel.radius_m
        if depth_m(defect) > 0:
            lowered = clean[..., n] - hole_drop_m(depth_m(defect), defect.width_m, radius)
            now[..., n] = np.where(gap <= 0, np.minimum(now[..., n], lowered), now[..., n])
        if height_m(defect) > 0:
            over = np.sqrt(np.maximum(0.0, radius**2 - gap**2)) - radius
            raised = clean[..., n] + np.maximum(0.0, defect.height_m + over)
            now[..., n] = np.where(gap <= radius, np.maximum(now[..., n], raised), now[..., n])
            margin = np.where(gap <= radius, case.figure("step_limit_m") - defect.height_m, np.nan)
            ledger.offer("step", stance.rows[at], margin, value=defect.height_m, limit=case.figure("step_limit_m"))
    level[at] = now


def contact_distances(case: Case, stance: Stance, geometry: BaseGeometry) -> Floats:
    """Distance of each tyre's contact line to a geometry, ``(n, 9, 4)`` metres."""
    half = np.array([wheel.width_m / 2 for wheel in case.machine.wheels])
    dx, dy = -np.sin(stance.heading)[..., None] * half, np.cos(stance.heading)[..., None] * half
    ends = np.stack(
        [
            np.stack([stance.hub_x - dx, stance.hub_y - dy], axis=-1),
            np.stack([stance.hub_x + dx, stance.hub_y + dy], axis=-1),
        ],
        axis=-2,
    )
    return np.asarray(shapely.distance(shapely.linestrings(ends), geometry))


def swept_contacts(case: Case, stance: Stance, at: Ints) -> list[NDArray[np.object_]]:
    """For each tyre, or track, the ground that its contact sweeps within the tube from sample ``at`` to the next."""
    shapes = []
    after = np.minimum(at + 1, len(stance.rows) - 1)
    # A track is on the ground from its end in front to its end behind.
    for ends in ((0, 2), (1, 3)) if case.machine.tracks else ((0,), (1,), (2,), (3,)):
        half_m = case.machine.wheels[ends[0]].width_m / 2
        dx, dy = -np.sin(stance.heading) * half_m, np.cos(stance.heading) * half_m
        x = np.concatenate([stance.hub_x[..., n] + side * dx for n in ends for side in (-1, 1)], axis=1)
        y = np.concatenate([stance.hub_y[..., n] + side * dy for n in ends for side in (-1, 1)], axis=1)
        shapes.append(hulls(np.hstack([x[at], x[after]]), np.hstack([y[at], y[after]])))
    return shapes


def keep_off(case: Case, stance: Stance, ledger: Ledger, unaccepted: BaseGeometry) -> None:
    """Offer every check on where tyres may not stand: covers, excavations, obstacles, ground nobody accepted."""
    bridged = shapely.union_all([defect.geometry for defect in case.site.defects if crossed(case, defect)])
    for defect in local(case.site.defects, case.track, stance.rows, wheel_reach_m(case)):
        if defect.kind in UNTOUCHED and not crossed(case, defect):
            shut = defect.geometry.difference(bridged) if defect.kind == "trench" else defect.geometry
            _keep_off(case, stance, ledger, "covers, plates and trenches", shut, 0.0)
    for excavation in case.site.excavations:
        _keep_off(case, stance, ledger, "excavation edge", excavation.geometry, excavation.set_back_m)
    for obstacle in local(case.site.obstacles, case.track, stance.rows, wheel_reach_m(case)):
        _keep_off(case, stance, ledger, "side clearance", obstacle.geometry, 0.0)
    _keep_off(case, stance, ledger, "surface acceptance", unaccepted, 0.0)


def _keep_off(case: Case, stance: Stance, ledger: Ledger, kind: str, geometry: BaseGeometry, required_m: float) -> None:
    reach = wheel_reach_m(case) + required_m
    at = near(geometry, case.track.x[stance.rows], case.track.y[stance.rows], reach)
    if not at.size:
        return
    for shapes in swept_contacts(case, stance, at):
        distance, overlap = gaps(shapes, geometry)
        margin = np.where(overlap, -np.inf, distance - required_m)
        ledger.offer(kind, stance.rows[at], margin, value=distance, limit=required_m)


def unaccepted_ground(case: Case) -> BaseGeometry:
    """Ground round the route without a valid acceptance of this machine on its day; it overrules accepted ground."""
    reach = wheel_reach_m(case) + 1.0
    x, y = case.track.x, case.track.y
    around = box(float(x.min()) - reach, float(y.min()) - reach, float(x.max()) + reach, float(y.max()) + reach)
    good: list[Polygon] = []
    bad: list[Polygon] = []
    for surface in case.site.surfaces:
        (good if accepts(case, surface.acceptance) else bad).append(surface.geometry)
    missing = around.difference(shapely.union_all(good)) if good else around
    return shapely.union_all([missing, *(outline.intersection(around) for outline in bad)])


def accepts(case: Case, acceptance: Acceptance | None) -> bool:
    """Whether an acceptance covers the machine's mass on the day; with a last day it covers no move without a day."""
    if acceptance is None:
        return False
    masses = [mass for mass in (case.figure("mass_kg"), case.configuration.mass_kg) if not math.isnan(mass)]
    if max(masses) > acceptance.mass_limit_kg:
        return False
    return case.holds(acceptance.date, acceptance.valid_until)
