"""What a plan says of which end is uphill and which leads, held against the levels and the gears of its rows."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from routeplan.recheck.case import Case
from routeplan.recheck.form import FORM_TOLERANCE_M, objection
from routeplan.recheck.levels import KNOWN_BELOW_M, Levels
from routeplan.recheck.track import Floats
from routeplan.route import Move, Objection

#: Mean slopes along the machine that contradict a word: a slope the other way, or one that is not level any more.
_CONTRARY, _NOT_LEVEL = 0.01, 0.05
#: Rows this near to the ends of a stretch may belong to its neighbours, m.
_EDGE_M = 0.15


def facing_objections(move: Move, case: Case) -> Iterator[Objection]:
    """Stretches that leave out part of the way, or say otherwise than the gears and the ground do.

    A plan that says nothing of it misleads nobody: ratings are held against how the machine stands, whatever is said.
    """
    if not move.stands:
        return
    first, ends = move.poses[0], [(one.chainage_from_m, one.chainage_to_m) for one in move.stands]
    joins = [0.0, *(at for pair in ends for at in pair), move.poses[-1].chainage_m]
    if not all(abs(a - b) <= FORM_TOLERANCE_M for a, b in zip(joins[::2], joins[1::2], strict=True)):
        text = "the plan does not say all along the way which end is uphill and which leads"
        yield objection("form", first, value=0, limit=0, unit="", text=text)
        return
    basket = case.configuration.basket.end
    sign, end = (-1.0 if basket == "rear" else 1.0), "arrow end" if basket is None else "basket end"
    slopes = sign * _along(move, case)
    for one in move.stands:
        rows = [
            n for n, pose in enumerate(move.poses)
            if one.chainage_from_m + _EDGE_M < pose.chainage_m < one.chainage_to_m - _EDGE_M
        ]  # fmt: skip
        gears = {sign * move.poses[n].gear for n in rows} - {0.0}
        if one.end != end or gears - {1.0 if one.facing == "leading" else -1.0}:
            text = f"{one.end} {one.facing} is not how the rows are driven"
            yield objection("form", move.poses[rows[0]] if rows else first, value=0, limit=0, unit="", text=text)
        known = slopes[rows][np.isfinite(slopes[rows])]
        mean = float(known.mean()) if known.size else 0.0
        wrong = {"uphill": mean < -_CONTRARY, "downhill": mean > _CONTRARY, "level": abs(mean) > _NOT_LEVEL}
        if wrong[one.orientation]:
            text = f"{one.end} {one.orientation} is not how the ground lies under the rows"
            yield objection("form", move.poses[rows[0]], value=mean, limit=0.0, unit="1", text=text)


def _along(move: Move, case: Case) -> Floats:
    """Slope of the clean ground along the chassis arrow at each row, from axle to axle; NaN where it is not known."""
    x, y = (np.array([getattr(pose, axis) for pose in move.poses]) for axis in ("x", "y"))
    heading = np.radians([90.0 - pose.bearing_deg for pose in move.poses])
    far = case.reach_m
    window = (float(x.min()) - far, float(y.min()) - far, float(x.max()) + far, float(y.max()) + far)
    clean = Levels(case.site.ground, window).clean
    rear, front = case.machine.wheels[2].xi_m, case.machine.wheels[0].xi_m
    low, high = (clean.at(x + xi * np.cos(heading), y + xi * np.sin(heading)) for xi in (rear, front))
    known = (low < KNOWN_BELOW_M) & (high < KNOWN_BELOW_M)
    return np.where(known, np.subtract(high, low, where=known, out=np.zeros_like(low)) / (front - rear), math.nan)
