"""Whether people are told what the rows ask of them, where it begins, and nothing kinder."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from routeplan.recheck.case import Case
from routeplan.recheck.form import FORM_TOLERANCE_M, ROUNDING_M, ROW_STEP_M, objection
from routeplan.recheck.touch import hulls
from routeplan.recheck.track import Floats, Ints, envelope
from routeplan.route.model import Control, Hold, Move, Objection, Pose

_SPEED = re.compile(r"(\d+(?:\.\d+)?) m/s")
_SLOWLY = re.compile(r"[Nn]o faster than \d+(?:\.\d+)? m/s")
_UNTIL = re.compile(r"between \d+(?:\.\d+)? m and (\d+(?:\.\d+)?) m")
#: What each travel mode is told by.
_MODE_WORDS = {"ridden": ("ridden",), "beside_rails_up": ("beside",), "beside_rails_folded": ("beside", "fold")}
#: Costs are written to the millimetre, a bound to 1e-6.
_COST_M, _BOUND = 0.001, 1e-6


def told_objections(move: Move, case: Case) -> Iterator[Objection]:
    """Speeds, reversals and changes of travel mode that nobody is told of as the rows have them, and a kind bound."""
    yield from _on_the_way(move)
    yield from _speeds(move, case)
    yield from _reversals(move)
    yield from _modes(move)
    yield from _bound(move)
    yield from _opened(move, case)


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
    told = [one for one in move.controls if one.kind == "speed"]
    for at in np.flatnonzero(limits < np.append(travel, limits[:-1])).tolist():
        pose, after = move.poses[at], move.poses[min(at + 1, len(limits) - 1)].chainage_m + FORM_TOLERANCE_M
        here = [speed_in(one.text) for one in told if pose.chainage_m - ROW_STEP_M <= one.chainage_m <= after]
        if not here:
            yield _of_row(pose, limits[at], travel, "nobody is told to go slower than the machine can")
            return
        if not max(here) <= limits[at] + ROUNDING_M:
            yield _of_row(pose, limits[at], max(here), "people are told of a faster speed than the row's limit")
            return
    yield from _held_to(move, told, limits, travel)


def _held_to(move: Move, told: Sequence[Control], limits: Floats, travel: float) -> Iterator[Objection]:
    """Controls that let people go faster before the rows do: by their speed where they stand, or by where they end.

    A control may begin, and end, between two rows.
    """
    chainage, spare = np.array([pose.chainage_m for pose in move.poses]), 2 * ROW_STEP_M
    for one in told:
        about = limits[np.abs(chainage - one.chainage_m) <= spare]
        if about.size and not speed_in(one.text) <= about.max() + ROUNDING_M:
            row = int(np.argmin(np.abs(chainage - one.chainage_m)))
            yield _of_row(move.poses[row], limits[row], speed_in(one.text), "people are told to go faster too early")
            return
    ends = [(one.chainage_m - spare, _until_m(one.text) + FORM_TOLERANCE_M, speed_in(one.text)) for one in told]
    for row in np.flatnonzero(limits < travel).tolist():
        if not any(a <= chainage[row] <= b and speed <= limits[row] + ROUNDING_M for a, b, speed in ends):
            text = "people are told of a slower stretch that ends too early"
            yield _of_row(move.poses[row], limits[row], travel, text)
            return


def speed_in(text: str) -> float:
    """The fastest speed that a control names, m/s; one that names none lets people drive as fast as they like.

    >>> speed_in("No faster than 0.30 m/s between 2 m and 14 m, held steady."), speed_in("Mind the kerb.")
    (0.3, inf)
    """
    return max(map(float, _SPEED.findall(text))) if _SLOWLY.search(text) else math.inf


def _until_m(text: str) -> float:
    """The chainage to which a control holds; one that says nothing of it holds to the end.

    >>> _until_m("No faster than 0.30 m/s between 2 m and 14 m, held steady."), _until_m("No faster than 0.30 m/s.")
    (14.0, inf)
    """
    found = _UNTIL.search(text)
    return math.inf if found is None else float(found[1])


def _of_row(pose: Pose, limit: float, speed: float, text: str) -> Objection:
    return objection("basket swing", pose, value=float(limit), limit=speed, unit="m/s", text=text)


def _on_the_way(move: Move) -> Iterator[Objection]:
    """Controls and hold points are somewhere on the way: elsewhere nobody meets them."""
    first, last = -FORM_TOLERANCE_M, move.poses[-1].chainage_m + FORM_TOLERANCE_M
    placed: tuple[Control | Hold, ...] = (*move.controls, *move.holds)
    for what in placed:
        if not first <= what.chainage_m <= last:
            text = f"a control or hold point is at {what.chainage_m:g} m, which is not on the way"
            yield objection("form", move.poses[0], value=what.chainage_m, limit=last, unit="m", text=text)
            return


def _told(move: Move, kind: str, pose: Pose) -> list[str]:
    """What people are told at a row."""
    return [
        one.text for one in move.controls
        if one.kind == kind and abs(one.chainage_m - pose.chainage_m) < FORM_TOLERANCE_M
    ]  # fmt: skip


def _reversals(move: Move) -> Iterator[Objection]:
    """Each is a control, which says which way to drive on and not the other; and there is no such control elsewhere."""
    driven, told_at = [pose for pose in move.poses if pose.gear], list[float]()
    for before, after in pairwise(driven):
        if before.gear != after.gear:
            way, other = ("along", "against") if after.gear > 0 else ("against", "along")
            told = _told(move, "reversal", after)
            told_at.append(after.chainage_m)
            if not told or not all(f" {way} " in text and f" {other} " not in text for text in told):
                text = f"nobody is told to stop and drive on {way} the arrow"
                yield objection("form", after, value=0, limit=0, unit="", text=text)
    for one in move.controls:
        if one.kind == "reversal" and not any(abs(one.chainage_m - at) < FORM_TOLERANCE_M for at in told_at):
            text = "people are told to reverse where the rows do not"
            yield objection("form", move.poses[0], value=one.chainage_m, limit=0, unit="m", text=text)


def _modes(move: Move) -> Iterator[Objection]:
    """Each change of travel mode is a control, which says what it changes to."""
    for before, after in pairwise(move.poses):
        if before.travel_mode == after.travel_mode:
            continue
        told, words = _told(move, "travel mode", after), _MODE_WORDS.get(after.travel_mode, ())
        if not told or not all(word in text for text in told for word in words):
            text = f"nobody is told to change to {after.travel_mode}"
            yield objection("form", after, value=0, limit=0, unit="", text=text)


def _opened(move: Move, case: Case) -> Iterator[Objection]:
    """An area that is open by the plan alone is named before the body is in it."""
    for area in (area for area in case.site.areas if case.reopened(area)):
        told = [one.chainage_m for one in move.controls if one.kind == "opened area" and f"({area.id})" in one.text]
        within, chainage_m = body_over(case, area.geometry), case.track.chainage_m
        if within.size and not any(at <= chainage_m[within[0]] + FORM_TOLERANCE_M for at in told):
            pose = move.poses[int(case.track.row[within[0]])]
            text = f"nobody is told that {area.id} is taken as open against the site's own dates"
            yield objection("closed areas", pose, value=0, limit=0, unit="", text=text)


def body_over(case: Case, ground: BaseGeometry) -> Ints:
    """Samples of the track in which the body is over a piece of ground."""
    track, corners = case.track, envelope(case.machine, case.configuration)
    c, s = np.cos(track.heading)[:, None], np.sin(track.heading)[:, None]
    x = track.x[:, None] + c * corners[:, 0] - s * corners[:, 1]
    y = track.y[:, None] + s * corners[:, 0] + c * corners[:, 1]
    return np.asarray(np.flatnonzero(shapely.intersects(hulls(x, y), ground)), dtype=np.intp)


def _bound(move: Move) -> Iterator[Objection]:
    """How good a way is follows from what it costs and the least that any way could: never better than that."""
    least = max(1.0, (move.cost_m - _COST_M) / (max(move.best_possible_m, 0.0) + _COST_M))
    if not (move.bound >= least - _BOUND and move.best_possible_m >= 0.0):
        text = "the bound is smaller than cost and best possible make it"
        yield objection("form", move.poses[0], value=move.bound, limit=least, unit="1", text=text)
    if not move.cost_m >= move.length_m - _COST_M:
        text = "a way costs less than its length"
        yield objection("form", move.poses[0], value=move.cost_m, limit=move.length_m, unit="m", text=text)
