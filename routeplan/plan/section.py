"""The long section of a way: what it leaves to spare, and how the machine leans, every half metre."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards import arrays
from routeplan.hazards.attitude import stand
from routeplan.hazards.clearance import COMFORT_M
from routeplan.hazards.prepare import Hazards
from routeplan.hazards.sweep import FAR
from routeplan.plan.ground_load import Laden
from routeplan.plan.profile import NEAR_M, OVER, Profile
from routeplan.route.model import Pose, SectionRow

Floats = NDArray[np.float64]

#: A row for so much of the way, m.
STEP_M = 0.5


def section_of(found: Profile, poses: Sequence[Pose], hazards: Hazards, laden: Laden) -> tuple[SectionRow, ...]:
    """A row for every half metre driven: the least that any stretch in it leaves, how steep it leans, how fast it is.

    Parameters
    ----------
    poses
        The rows of the route with their speed limits.
    hazards
        Of the ground that it stands on; only slopes are asked for.
    laden
        What the wheels carry at the rows of the route.
    """
    begins = found.along_m[:-1]
    bins = np.floor(begins / STEP_M + 1e-9).astype(np.intp)
    chainage, limits = (np.array([getattr(pose, name) for pose in poses]) for name in ("chainage_m", "v_max_mps"))
    rows, left = [], laden.left_kn()
    for here in np.split(np.arange(len(bins)), np.flatnonzero(np.diff(bins)) + 1):
        leans = [_stood(found, n, hazards) for n in here.tolist()]
        level, pitch, roll = max(leans, key=_steepness)
        first, last = float(begins[here[0]]), float(found.along_m[here[-1] + 1])
        over = (chainage >= first - STEP_M) & (chainage <= last + STEP_M)
        least = found.margins[here].min(axis=0)
        rows.append(
            SectionRow(
                first, level, pitch, roll, grade_deg=_near(least[arrays.GRADE]),
                side_deg=_near(least[arrays.SIDE_SLOPE]), head_m=_near(min(least[kind] for kind in OVER)),
                strike_m=_near(least[arrays.STRIKE]), bounce_m=_near(least[arrays.BOUNCE]),
                body_m=_near(least[arrays.CLEARANCE], COMFORT_M), load_kn=_least_left(left, chainage, first, last),
                v_max_mps=float(limits[over].min()),
            )
        )  # fmt: skip
    return tuple(rows)


def _least_left(left: Floats, chainage: Floats, first_m: float, last_m: float) -> float:
    """The least left by a row that leads into a stretch, or lies in it; NaN where none has anything."""
    begin = max(int(np.searchsorted(chainage, first_m - NEAR_M)) - 1, 0)
    return float(np.fmin.reduce(left[begin : int(np.searchsorted(chainage, last_m + NEAR_M, "right"))]))


def _near(margin: float, far: float = FAR / 2) -> float:
    """A margin; NaN where nothing is near."""
    return float(margin) if margin < far else math.nan


def _steepness(stood: tuple[float, float, float]) -> float:
    """How steep a machine leans; most where that is not known."""
    return math.inf if math.isnan(stood[1]) else math.hypot(stood[1], stood[2])


def _stood(found: Profile, stretch: int, hazards: Hazards) -> tuple[float, float, float]:
    """Level, pitch and roll in degrees of the machine at the start of a stretch; NaN where a level is not known."""
    x, y, heading = found.starts[stretch].tolist()
    stance = stand(hazards.world, hazards.body, x, y, heading, 0.0, 0.0)
    if not stance.known:
        return math.nan, math.nan, math.nan
    return stance.z, math.degrees(math.atan(stance.pitch)), math.degrees(math.atan(stance.roll))
