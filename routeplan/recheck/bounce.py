"""Bounce of the basket: levers from wheels to body points, defects near the wheels, and the rise they may cause."""

from __future__ import annotations

import numpy as np
import shapely

from routeplan.machine.model import Machine
from routeplan.recheck.case import Case
from routeplan.recheck.ledger import Ledger
from routeplan.recheck.levels import DEFECT_REACH_M
from routeplan.recheck.stance import Stance, disc_levels, settle
from routeplan.recheck.touch import local, near
from routeplan.recheck.track import Floats
from routeplan.recheck.wheels import feature_defect_m, hole_drop_m, wheel_reach_m

#: Left to second-order terms when a quick bound decides that a sample needs no closer look, metres.
BOUND_SLACK_M = 0.002


def levers(machine: Machine, xi_m: Floats, eta_m: Floats) -> Floats:
    """Rise of body points for one metre of rise under each wheel, the worse of "axle" and "one wheel".

    Parameters
    ----------
    machine
        Its wheelbase and track.
    xi_m, eta_m
        ``(points,)`` in the machine frame.

    Returns
    -------
    ndarray
        ``(points, 4)``, front left, front right, rear left, rear right.
    """
    share = (xi_m - machine.wheels[2].xi_m) / machine.wheelbase_m
    axle = np.stack([share, share, 1.0 - share, 1.0 - share], axis=-1)
    return np.asarray(np.maximum(np.abs(axle), np.abs(axle) / 2 + np.abs(eta_m)[:, None] / machine.track_m))


def excess(case: Case, lever: Floats, defect_m: Floats) -> Floats:
    """Excess of body points over their rigid level: ``(n, 9, points)`` from ``(points, 4)`` and ``(n, 9, 4)``."""
    worst = np.max(np.abs(defect_m)[..., None, :] * lever, axis=-1)
    return np.asarray(case.site.thresholds.tip_participation * 2.0 * worst)


def feature_defects(case: Case, stance: Stance) -> Floats:
    """Largest feature of the defects layer within reach of each hub, ``(n, 9, 4)`` metres."""
    worst = np.zeros(stance.hub_x.shape)
    x, y = case.track.x[stance.rows], case.track.y[stance.rows]
    reach = wheel_reach_m(case) + DEFECT_REACH_M
    for defect in local(case.site.defects, case.track, stance.rows, reach):
        sizes = [feature_defect_m(defect, wheel.radius_m) for wheel in case.machine.wheels]
        at = near(defect.geometry, x, y, reach) if max(sizes) > 0 else np.zeros(0, int)
        if at.size:
            hub = shapely.points(stance.hub_x[at], stance.hub_y[at])
            there = shapely.dwithin(hub, defect.geometry, DEFECT_REACH_M)
            worst[at] = np.maximum(worst[at], np.where(there, sizes, 0.0))
    return worst


def defects(case: Case, stance: Stance) -> Floats:
    """Largest defect within reach of each hub, of the raster and of the layer, ``(n, 9, 4)`` metres."""
    return np.maximum(case.levels.defect.at(stance.hub_x, stance.hub_y), feature_defects(case, stance))


def offer_bounce(case: Case, stance: Stance, ledger: Ledger) -> None:
    """Offer the rise of the basket floor where a quick upper bound does not already clear it."""
    xi, eta, _ = floor_corners(case)
    lever, sigma, limit = levers(case.machine, xi, eta), case.sigmas.point(xi, eta), case.site.thresholds.bounce_limit_m
    worst = np.maximum(case.levels.defect.bound(stance.hub_x, stance.hub_y), feature_defects(case, stance))
    most = np.asarray(highest_rise(case, stance) + excess(case, lever, worst)).max(axis=(1, 2))
    at = np.flatnonzero(np.nan_to_num(most, nan=-np.inf) > limit - ledger.k * sigma.max())
    if not at.size:
        return
    close = stance.pick(at)
    rise = rigid_rise(case, close) + excess(case, lever, defects(case, close))
    sure = case.sure(close.hub_x, close.hub_y, ledger.k).point(xi, eta)
    ledger.offer("bounce rise", close.rows, limit - rise, value=rise, limit=limit, sigma=sure)


def floor_corners(case: Case) -> tuple[Floats, Floats, Floats]:
    """Corners of the basket's floor: xi, eta and zeta."""
    basket = case.configuration.basket
    xi, eta = np.array(basket.ring).T
    return xi, eta, np.full(len(xi), basket.floor_height_m)


def rigid_rise(case: Case, stance: Stance) -> Floats:
    """Rise of the corners of the basket's floor over where they are on clean ground, ``(n, 9, corners)``."""
    clean = disc_levels(case, stance.hub_x, stance.hub_y, stance.heading, clean=True)
    base = settle(case, clean).heights(*floor_corners(case))
    return np.asarray(np.maximum(0.0, stance.planes.heights(*floor_corners(case)).max(axis=2) - base))


def highest_rise(case: Case, stance: Stance) -> Floats:
    """Never below ``rigid_rise``, and quick; unknown levels bound nothing and are left to "levels known"."""
    points = floor_corners(case)
    above = stance.planes.heights(*points).max(axis=2) - settle(case, stance.disc_m).heights(*points)
    share = (points[0] - case.machine.wheels[2].xi_m) / case.machine.wheelbase_m
    # Clean ground lies at most the raster's defect away under each wheel; these are the weights of the wheels.
    weight = np.abs(share) + np.abs(1 - share) + 2 * np.abs(points[1]) / case.machine.track_m
    raster = case.levels.defect.bound(stance.hub_x, stance.hub_y)
    return np.asarray(np.maximum(0.0, above + raster.max(axis=-1)[..., None] * weight + BOUND_SLACK_M))


def survey_margin_m(case: Case) -> float:
    """Bounce limit less the bounce over the smallest hole the survey would show; NaN when nobody said how small."""
    width = case.site.ground.accuracy.smallest_hole_m
    if width is None:
        return np.nan
    xi, eta = np.array(case.configuration.basket.ring).T
    radii = [wheel.radius_m for wheel in case.machine.wheels]
    drop = np.array([[[hole_drop_m(np.inf, width, radius) for radius in radii]]])
    return case.site.thresholds.bounce_limit_m - float(excess(case, levers(case.machine, xi, eta), drop).max())
