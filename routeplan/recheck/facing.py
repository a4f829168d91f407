"""What a plan says of which end is uphill and which leads, held against the levels and the gears of its rows."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from routeplan.machine.model import Machine
from routeplan.recheck.case import Case
from routeplan.recheck.form import FORM_TOLERANCE_M, objection
from routeplan.recheck.levels import KNOWN_BELOW_M, Levels
from routeplan.recheck.track import Floats
from routeplan.route.model import Move, Objection, Pose
from routeplan.site.model import Site

#: Mean slopes along the machine that contradict a word: a slope the other way, or one that is not level any more.
_CONTRARY, _NOT_LEVEL = 0.01, 0.05
#: The same of a part that lasts: rough ground may be called like what is round it.
_CONTRARY_PART, _NOT_LEVEL_PART, _LASTS_M = 0.05, 0.10, 2.0
#: How far round the wheels levels are looked at, to have the clean ground there, m.
_CLEANED_M = 5.0
#: Rows this near to the ends of a stretch may belong to its neighbours, m; of a short one half of it at most.
_EDGE_M = 0.15


def facing_objections(move: Move, case: Case) -> Iterator[Objection]:
    """Stretches that leave out part of the way, or say otherwise than the gears and the ground do."""
    first, ends = move.poses[0], [(one.chainage_from_m, one.chainage_to_m) for one in move.stands]
    joins = [0.0, *(at for pair in ends for at in pair), move.poses[-1].chainage_m]
    meet = all(abs(a - b) <= FORM_TOLERANCE_M for a, b in zip(joins[::2], joins[1::2], strict=True))
    if not (meet and all(from_m <= to_m for from_m, to_m in ends)):
        text = "the plan does not say all along the way which end is uphill and which leads"
        yield objection("form", first, value=0, limit=0, unit="", text=text)
        return
    basket = case.configuration.basket.end
    sign, end = (-1.0 if basket == "rear" else 1.0), "arrow end" if basket is None else "basket end"
    slopes = sign * slopes_along(move.poses, site=case.site, machine=case.machine)
    at_m = np.array([pose.chainage_m for pose in move.poses])
    for one in move.stands:
        edge_m = min(_EDGE_M, (one.chainage_to_m - one.chainage_from_m) / 4)
        rows = np.flatnonzero((at_m > one.chainage_from_m + edge_m) & (at_m < one.chainage_to_m - edge_m))
        at = move.poses[rows[0]] if rows.size else first
        gears = {sign * move.poses[n].gear for n in rows} - {0.0}
        if one.end != end or gears - {1.0 if one.facing == "leading" else -1.0}:
            text = f"{one.end} {one.facing} is not how the rows are driven"
            yield objection("form", at, value=0, limit=0, unit="", text=text)
        for mean, contrary, not_level in _means(slopes[rows], at_m[rows]):
            wrong = {"uphill": mean < -contrary, "downhill": mean > contrary, "level": abs(mean) > not_level}
            if wrong[one.orientation]:
                text = f"{one.end} {one.orientation} is not how the ground lies under the rows"
                yield objection("form", at, value=mean, limit=0.0, unit="1", text=text)
                break


def _means(slopes: Floats, at_m: Floats) -> Iterator[tuple[float, float, float]]:
    """Mean slope over a whole stretch, and over each part of it that lasts, with the slopes that contradict a word."""
    known = np.isfinite(slopes)
    slopes, at_m = slopes[known], at_m[known]
    if slopes.size:
        yield float(slopes.mean()), _CONTRARY, _NOT_LEVEL
    for first, last in enumerate(np.searchsorted(at_m, at_m + _LASTS_M).tolist()):
        if last < slopes.size:
            yield float(slopes[first : last + 1].mean()), _CONTRARY_PART, _NOT_LEVEL_PART


def slopes_along(poses: Sequence[Pose], *, site: Site, machine: Machine) -> Floats:
    """Slope of the clean ground along the chassis arrow at each row, from axle to axle; NaN where it is not known."""
    x, y = (np.array([getattr(pose, axis) for pose in poses]) for axis in ("x", "y"))
    heading = np.radians([90.0 - pose.bearing_deg for pose in poses])
    rear, front = machine.wheels[2].xi_m, machine.wheels[0].xi_m
    far = max(abs(rear), abs(front)) + _CLEANED_M
    window = (float(x.min()) - far, float(y.min()) - far, float(x.max()) + far, float(y.max()) + far)
    clean = Levels(site.ground, window).clean
    low, high = (clean.at(x + xi * np.cos(heading), y + xi * np.sin(heading)) for xi in (rear, front))
    known = (low < KNOWN_BELOW_M) & (high < KNOWN_BELOW_M)
    return np.where(known, np.subtract(high, low, where=known, out=np.zeros_like(low)) / (front - rear), math.nan)
