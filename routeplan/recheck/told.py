"""Whether people are told what the rows ask of them, where it begins, and nothing kinder."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from routeplan.recheck.case import Case
from routeplan.recheck.form import FORM_TOLERANCE_M, ROUNDING_M, ROW_STEP_M, objection
from routeplan.route import Move, Objection, Pose

_SPEED = re.compile(r"(\d+(?:\.\d+)?) m/s")
#: Costs are written to the millimetre, a bound to 1e-6.
_COST_M, _BOUND = 0.001, 1e-6


def told_objections(move: Move, case: Case) -> Iterator[Objection]:
    """Speeds, reversals and changes of travel mode that nobody is told of as the rows have them, and a kind bound."""
    yield from _speeds(move, case)
    yield from _reversals(move)
    yield from _modes(move)
    yield from _bound(move)


def _speeds(move: Move, case: Case) -> Iterator[Objection]:
    """Rows without a limit, limits that the machine cannot go, and limits of which nobody is told where they begin.

    A limit below creep speed is none: nobody can drive it so slowly.
    """
    travel = case.figure("travel_speed_mps")
    if math.isnan(travel):
        return
    slowest = float(np.fmin(travel, case.figure("creep_speed_mps"))) - ROUNDING_M
    limits = np.array([pose.v_max_mps for pose in move.poses])
    for at in np.flatnonzero(~((limits > 0.0) & (limits >= slowest) & (limits <= travel)))[:1]:
        yield _of_row(move.poses[at], limits[at], travel, "the row's limit is no speed that the machine has")
    told = [(one.chainage_m, speed_in(one.text)) for one in move.controls if one.kind == "speed"]
    for at in np.flatnonzero(limits < np.append(travel, limits[:-1])).tolist():
        pose, after = move.poses[at], move.poses[min(at + 1, len(limits) - 1)].chainage_m + FORM_TOLERANCE_M
        here = [speed for where, speed in told if pose.chainage_m - ROW_STEP_M <= where <= after]
        if not here:
            yield _of_row(pose, limits[at], travel, "nobody is told to go slower than the machine can")
            return
        if not min(here) <= limits[at] + ROUNDING_M:
            yield _of_row(pose, limits[at], min(here), "people are told of a faster speed than the row's limit")
            return


def speed_in(text: str) -> float:
    """The speed that a control names, m/s; one that names none lets people drive as fast as they like.

    >>> speed_in("No faster than 0.30 m/s between 2 m and 14 m, held steady."), speed_in("Mind the kerb.")
    (0.3, inf)
    """
    found = _SPEED.search(text)
    return math.inf if found is None else float(found[1])


def _of_row(pose: Pose, limit: float, speed: float, text: str) -> Objection:
    return objection("basket swing", pose, value=float(limit), limit=speed, unit="m/s", text=text)


def _told(move: Move, kind: str, pose: Pose) -> str | None:
    """What people are told at a row."""
    here = (
        one.text for one in move.controls
        if one.kind == kind and abs(one.chainage_m - pose.chainage_m) < FORM_TOLERANCE_M
    )  # fmt: skip
    return next(here, None)


def _reversals(move: Move) -> Iterator[Objection]:
    """Each is a control, which says which way to drive on."""
    driven = [pose for pose in move.poses if pose.gear]
    for before, after in pairwise(driven):
        if before.gear != after.gear:
            way = "along" if after.gear > 0 else "against"
            if f" {way} " not in (_told(move, "reversal", after) or ""):
                text = f"nobody is told to stop and drive on {way} the arrow"
                yield objection("form", after, value=0, limit=0, unit="", text=text)


def _modes(move: Move) -> Iterator[Objection]:
    """Each change of travel mode is a control."""
    for before, after in pairwise(move.poses):
        if before.travel_mode != after.travel_mode and not _told(move, "travel mode", after):
            text = f"nobody is told to change to {after.travel_mode}"
            yield objection("form", after, value=0, limit=0, unit="", text=text)


def _bound(move: Move) -> Iterator[Objection]:
    """How good a way is follows from what it costs and the least that any way could: never better than that."""
    least = max(1.0, (move.cost_m - _COST_M) / (move.best_possible_m + _COST_M))
    if not move.bound >= least - _BOUND:
        text = "the bound is smaller than cost and best possible make it"
        yield objection("form", move.poses[0], value=move.bound, limit=least, unit="1", text=text)
    if not move.cost_m >= move.length_m - _COST_M:
        text = "a way costs less than its length"
        yield objection("form", move.poses[0], value=move.cost_m, limit=move.length_m, unit="m", text=text)
