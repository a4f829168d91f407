"""Standing to work at a workface, looked at a second time: the chassis's normal against its tilt cut-out, and what is
clear of the circle of its tail.
"""

from __future__ import annotations

import math

import numpy as np
import shapely

from routeplan.machine.modelled import ON_OUTRIGGERS, on_outriggers
from routeplan.recheck.case import Case
from routeplan.recheck.ledger import Ledger
from routeplan.recheck.stance import Stance
from routeplan.recheck.track import Floats
from routeplan.recheck.verdicts import SET_UP_TILT, TAIL_SWING, open_reasons, tilt_figures

#: The figures of a tail's circle, and of how high it turns.
_CIRCLE = ("tail_swing_radius_m", "turntable_xi_m", "chassis_top_m", "height_m")


def offer_set_up(case: Case, stance: Stance, ledger: Ledger) -> None:
    """Offer tilt and tail in the samples in which the machine stands to work, and why neither can be a pass."""
    at = np.flatnonzero(np.isin(stance.rows, case.works))
    if not at.size:
        return
    working = stance.pick(at)
    for why in open_reasons(SET_UP_TILT, case):
        ledger.leave_open(SET_UP_TILT, why)
    if on_outriggers(case.machine):
        ledger.leave_open(SET_UP_TILT, ON_OUTRIGGERS)
    else:
        _offer_tilt(case, working, ledger)
    if case.machine.slews:
        for why in open_reasons(TAIL_SWING, case):
            ledger.leave_open(TAIL_SWING, why)
        if all(name in case.machine.figures for name in _CIRCLE):
            _offer_tail(case, working, ledger)


def whichever_way(pitch: Floats, roll: Floats) -> Floats:
    """Angle between the normal of a plane with these slopes and upright, radians."""
    one, none = np.ones_like(pitch), np.zeros_like(pitch)
    normal = np.cross(np.stack([one, none, pitch], axis=-1), np.stack([none, one, roll], axis=-1))
    upright = np.array([0.0, 0.0, 1.0])
    return np.asarray(np.arctan2(np.linalg.norm(np.cross(normal, upright), axis=-1), normal @ upright))


def _offer_tilt(case: Case, stance: Stance, ledger: Ledger) -> None:
    off = np.nan_to_num(case.figure("tilt_sensor_tolerance_deg"))
    pitch, roll = stance.planes.pitch, stance.planes.roll
    sure = case.sure(stance.hub_x, stance.hub_y, ledger.k)
    along, across = (np.asarray(one)[..., None] for one in (sure.pitch, sure.roll))  # one for both planes of a pose
    seen = {
        "tilt_side_deg": (np.abs(np.arctan(roll)), across),
        "tilt_long_deg": (np.abs(np.arctan(pitch)), along),
        "tilt_any_deg": (whichever_way(pitch, roll), np.hypot(along, across)),
    }
    for name in tilt_figures(case.machine):
        if name in seen:
            lean, sigma = np.degrees(seen[name][0]), np.degrees(seen[name][1])
            limit = case.figure(name) - off
            ledger.offer(SET_UP_TILT, stance.rows, limit - lean, value=lean, limit=limit, sigma=sigma)


def _offer_tail(case: Case, stance: Stance, ledger: Ledger) -> None:
    radius, xi, bottom, top = (case.figure(name) for name in _CIRCLE)
    axis = np.array([xi, xi]), np.zeros(2), np.array([bottom, top])
    x, y, z = (part.reshape(len(stance.rows), -1, 2) for part in stance.place(*axis))
    up_xi, up_eta, _ = stance.planes.rotation()[2]
    dips = radius * np.hypot(up_xi, up_eta).reshape(len(stance.rows), -1)
    under = (z[..., 0] - dips).min(axis=1) - case.site.thresholds.ground_clearance_m
    middles = shapely.convex_hull(shapely.multipoints(np.stack([x, y], axis=-1).reshape(len(stance.rows), -1, 2)))
    gap = case.site.thresholds.tail_gap_m

    def offer(clear: Floats) -> None:
        ledger.offer(TAIL_SWING, stance.rows, clear - radius - gap, value=clear - radius, limit=gap)

    for obstacle in case.site.obstacles:
        top_m = math.inf if obstacle.top_m is None else obstacle.top_m
        offer(np.where(top_m <= under, np.nan, shapely.distance(middles, obstacle.geometry)))
    for walkway in case.site.walkways:
        offer(np.asarray(shapely.distance(middles, walkway.geometry)))
    within = shapely.covers(case.site.boundary, middles)
    offer(np.where(within, shapely.distance(middles, case.site.boundary.boundary), 0.0))
