"""The long section of a move against its own checks: it may not tell of more room, nor of more speed, than they do."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterator
from itertools import pairwise

from routeplan.recheck.form import objection
from routeplan.route.model import Move, Objection

#: Which checks each field of a row tells of, and from what margin on they say that nothing is near.
TELLS = {
    "grade_deg": (("gradeability",), 10.0), "side_deg": (("side slope",), 10.0),
    "head_m": (("head gap", "overhead clearance", "line clearance"), 10.0), "strike_m": (("ground strike",), 10.0),
    "bounce_m": (("bounce rise",), 10.0), "body_m": (("side clearance",), 0.5), "load_kn": (("ground load",), 1000.0),
}  # fmt: skip
#: Differences through rounding.
ROUNDED = 1e-4


def section_objections(move: Move) -> Iterator[Objection]:
    """A section, if there is one, that runs another way, leaves more to spare than the checks, or lets it go faster."""
    rows = move.section
    if not rows:
        return
    along = [row.chainage_m for row in rows]
    end_m = move.poses[-1].chainage_m
    onward = all(before < after for before, after in pairwise(along))
    if not onward or along[0] > ROUNDED or along[-1] > end_m + ROUNDED:
        yield _told(move, "its rows are not from the start to the finish, one after another")
    for field, (kinds, far) in TELLS.items():
        told = min((value for row in rows if not math.isnan(value := getattr(row, field))), default=math.inf)
        found = min((check.margin for check in move.checks if check.kind in kinds), default=math.nan)
        if found < far - ROUNDED and not told <= found + ROUNDED:
            yield _told(move, f"{field} leaves {told:.4g} to spare at least, the checks {found:.4g}")
    limits = sorted((pose.chainage_m, pose.v_max_mps) for pose in move.poses)
    places = [at for at, _ in limits]
    for row, until_m in zip(rows, [*along[1:], math.inf], strict=True):
        here = limits[bisect_left(places, row.chainage_m) : bisect_left(places, until_m)]
        if here and not row.v_max_mps <= min(limit for _, limit in here) + ROUNDED:
            yield _told(move, f"at {row.chainage_m:.1f} m it lets the machine go {row.v_max_mps:.3f} m/s")
            return


def _told(move: Move, what: str) -> Objection:
    return objection("section", move.poses[0], value=0, limit=0, unit="", text=f"the long section: {what}")
