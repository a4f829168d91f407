"""Slopes of the machine in both planes against its ratings, and levels known under its wheels."""

from __future__ import annotations

import math

import numpy as np

from routeplan.recheck.case import Case
from routeplan.recheck.ledger import Ledger
from routeplan.recheck.stance import Stance
from routeplan.recheck.track import Floats


def rating_deg(percent: float) -> float:
    """A rating in percent as an angle.

    >>> round(rating_deg(10.0), 3)
    5.711
    """
    return math.degrees(math.atan(percent / 100.0))


def grade_limits(case: Case, pitch_deg: Floats) -> Floats:
    """The rating that governs each pitch: by whether the basket's end is the higher one."""
    uphill = rating_deg(case.figure("gradeability_basket_uphill_pct"))
    downhill = rating_deg(case.figure("gradeability_basket_downhill_pct"))
    towards = -1.0 if case.configuration.basket.end == "rear" else 1.0
    return np.where(towards * pitch_deg > 0, uphill, downhill)


def offer_attitude(case: Case, stance: Stance, ledger: Ledger) -> None:
    """Offer gradeability, side slope, their combination, and the share of wheel positions with a known level."""
    pitch, roll = (np.degrees(np.arctan(slope)) for slope in (stance.planes.pitch, stance.planes.roll))
    grade, side = grade_limits(case, pitch), rating_deg(case.figure("side_slope_pct"))
    sure = case.sure(stance.hub_x, stance.hub_y, ledger.k)
    # One for both planes of a pose.
    sigma_pitch, sigma_roll = (np.degrees(np.asarray(one))[..., None] for one in (sure.pitch, sure.roll))
    ledger.offer(
        "gradeability", stance.rows, grade - np.abs(pitch), value=np.abs(pitch), limit=grade, sigma=sigma_pitch
    )
    ledger.offer("side slope", stance.rows, side - np.abs(roll), value=np.abs(roll), limit=side, sigma=sigma_roll)
    used = np.hypot(pitch / grade, roll / side)
    sigma = np.hypot(sigma_pitch / grade, sigma_roll / side)
    ledger.offer("combined slope", stance.rows, 1.0 - used, value=used, limit=1.0, sigma=sigma)
    share = 1.0 - np.isnan(stance.disc_m).mean(axis=(1, 2))
    ledger.offer("levels known", stance.rows, share - 1.0, value=share, limit=1.0)
