"""Spot levels and the survey: read, held against it, and its levels put right by them (docs/method.md 14).

The survey's short-range error is a Gaussian field, alike over the correlation length: ``s^2 exp(-d / correlation)``.
Readings, each with an error of its own, are blended with it by simple kriging of what they read beyond the survey.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from routeplan.site.columns import HIGHEST_LEVEL_M, LOWEST_LEVEL_M, Columns
from routeplan.site.faults import Door, Faults, at
from routeplan.site.ground import levels_at
from routeplan.site.layers import RawFeature
from routeplan.site.model import Accuracy, Ground
from routeplan.site.outlines import single_point
from routeplan.site.reading import Reading

Floats = NDArray[np.float64]

#: Readings farther from the survey, or from one another, than so many sigmas are taken for a mistake: one honest
#: reading in 15,000 lies there (normal distribution).
TOO_FAR = 4.0
#: Readings no farther apart are of one place, m: places are told to the centimetre.
ONE_PLACE_M = 0.005
#: Beyond so many correlation lengths a reading moves no level by a hundred-millionth of what it moves its own.
_REACH = 20.0


def readings(raw: RawFeature, door: Door) -> tuple[Reading, ...]:
    """The reading of a row; who took it, when and how well, nobody may leave out."""
    columns = Columns(raw, door.faults)
    level_m = columns.number(
        "level_m", low=LOWEST_LEVEL_M, high=HIGHEST_LEVEL_M, required="give the level that was read"
    )
    sigma_m = columns.number(
        "sigma_m", low=0.0001, high=1.0, required="give its standard deviation against the survey's datum"
    )
    told = {name: raw.columns.get(name) is not None for name in ("taken_on", "taken_by")}
    for name, mend in (("taken_on", "give the day it was taken"), ("taken_by", "give the role of who took it")):
        if not told[name]:
            door.faults.add("value-missing", raw.where, f"it has no {name}", mend)
    day, role, point = columns.day("taken_on"), columns.text("taken_by"), single_point(raw, door=door)
    if point is None or level_m is None or sigma_m is None or day is None or role is None:
        return ()
    return (Reading(raw.id or "", point, level_m, sigma_m, day, role),)


def alike(accuracy: Accuracy, x: Floats, y: Floats, x2: Floats, y2: Floats) -> Floats:
    """Covariance of the survey's short-range errors at places and other places, ``(..., n)`` m2."""
    apart = np.hypot(x[..., None] - x2, y[..., None] - y2)
    return np.asarray(accuracy.short_range_m**2 * np.exp(-apart / accuracy.correlation_m))


def places_of(given: Sequence[Reading]) -> tuple[Floats, Floats]:
    """Eastings and northings of readings."""
    return np.array([one.geometry.x for one in given]), np.array([one.geometry.y for one in given])


def beyond_survey_m(ground: Ground, given: Sequence[Reading]) -> Floats:
    """What each reading lies above the levels as surveyed, metres; NaN where those are not known."""
    surveyed = ground if ground.surveyed is None else replace(ground, z=ground.surveyed)
    read_m = np.array([one.level_m for one in given])
    return read_m - levels_at(surveyed, np.column_stack(places_of(given)))


def check_readings(given: Sequence[Reading], ground: Ground, *, label: str, faults: Faults) -> None:
    """Find readings where nothing was surveyed, from before the survey, and those that contradict it or one another."""
    before = len(faults)
    beyond, accuracy = beyond_survey_m(ground, given), ground.accuracy
    for one, apart_m in zip(given, beyond, strict=True):
        where = f"{label}, feature {one.id}, {at(one.geometry.x, one.geometry.y)}"
        if accuracy.date is not None and one.date < accuracy.date:
            what = f"it was taken on {one.date}, before the survey of {accuracy.date}"
            faults.add("reading-before-survey", where, what, "take it again: the ground may have changed since")
        if math.isnan(apart_m):
            mend = "leave it out, or survey there: it cannot say how far off a survey is that is not there"
            faults.add("reading-nowhere", where, "the survey has no level there", mend)
        elif abs(apart_m) > TOO_FAR * math.hypot(accuracy.short_range_m, one.sigma_m):
            _contradicts(where, "the survey", apart_m, faults)
    if given and len(faults) == before:
        _find_twice(given, label=label, faults=faults)
    if given and len(faults) == before:
        _hold_together(given, beyond, accuracy, label=label, faults=faults)


def _find_twice(given: Sequence[Reading], *, label: str, faults: Faults) -> None:
    """Find readings of a place that was read before: one instrument twice at a place is no two instruments."""
    x, y = places_of(given)
    for n, one in enumerate(given):
        same = np.flatnonzero(np.hypot(x[:n] - x[n], y[:n] - y[n]) <= ONE_PLACE_M)
        if same.size:
            where = f"{label}, feature {one.id}, {at(one.geometry.x, one.geometry.y)}"
            mend = "give one row for each place: read again with the same instrument it is no surer"
            faults.add("reading-twice", where, f"its place is that of feature {given[same[0]].id}", mend)


def _hold_together(given: Sequence[Reading], beyond: Floats, accuracy: Accuracy, *, label: str, faults: Faults) -> None:
    """Find the reading that lies farthest from what the survey and all other readings make of its place, if too far."""
    inverse = np.linalg.inv(_between(given, accuracy))
    sigma_m = 1.0 / np.sqrt(np.diag(inverse))
    apart_m = inverse @ beyond * sigma_m**2
    worst = int(np.argmax(np.abs(apart_m) / sigma_m))
    if abs(apart_m[worst]) > TOO_FAR * sigma_m[worst]:
        one = given[worst]
        where = f"{label}, feature {one.id}, {at(one.geometry.x, one.geometry.y)}"
        _contradicts(where, "the other readings", float(apart_m[worst]), faults)


def _contradicts(where: str, whom: str, apart_m: float, faults: Faults) -> None:
    side = "above" if apart_m > 0.0 else "below"
    faults.add(
        "reading-contradicts", where, f"it lies {abs(apart_m) * 1000.0:.0f} mm {side} what {whom} would have",
        f"more than {TOO_FAR:g} standard deviations are no chance: another datum, a wrong place, or ground that has "
        "changed; where the survey is worse than it says, say so in short_range_m",
    )  # fmt: skip


def _between(given: Sequence[Reading], accuracy: Accuracy) -> Floats:
    """Covariance of what readings lie off the survey by, ``(n, n)`` m2: its errors, and their own."""
    x, y = places_of(given)
    return alike(accuracy, x, y, x, y) + np.diag([one.sigma_m**2 for one in given])


def weights(given: Sequence[Reading], ground: Ground) -> Floats:
    """What each reading pulls the survey by: levels rise by ``alike(...) @ weights``."""
    return np.asarray(cho_solve(cho_factor(_between(given, ground.accuracy)), beyond_survey_m(ground, given)))


def put_right(ground: Ground, given: Sequence[Reading]) -> Ground:
    """Levels put right by readings, those of the survey kept beside them."""
    if not given:
        return ground
    z, accuracy = ground.z.copy(), ground.accuracy
    reach_m, cell_m = _REACH * accuracy.correlation_m, ground.cell_m
    for one, pull in zip(given, weights(given, ground), strict=True):
        row, col = (one.geometry.y - ground.y_min) / cell_m, (one.geometry.x - ground.x_min) / cell_m
        n = math.ceil(reach_m / cell_m)
        rows = slice(max(math.floor(row) - n, 0), min(math.ceil(row) + n + 1, z.shape[0]))
        cols = slice(max(math.floor(col) - n, 0), min(math.ceil(col) + n + 1, z.shape[1]))
        north = (np.arange(rows.start, rows.stop) - row) * cell_m
        east = (np.arange(cols.start, cols.stop) - col) * cell_m
        apart = np.hypot(north[:, None], east[None, :])
        z[rows, cols] += pull * accuracy.short_range_m**2 * np.exp(-apart / accuracy.correlation_m)
    return replace(ground, z=z, surveyed=ground.z)
