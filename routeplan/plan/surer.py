"""How sure the levels are along a way after readings: for checks that the survey leaves open, stretch by stretch."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import product
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from routeplan.hazards import arrays
from routeplan.hazards.attitude import STANCE_STEP
from routeplan.hazards.posterior import Posterior, Slopes, forms_of
from routeplan.hazards.prepare import Hazards
from routeplan.machine.model import Machine
from routeplan.search.anchors import Anchor
from routeplan.site.model import Site

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Kinds of margin that readings make surer, basket swing by those that it rests on.
BY_READINGS = (
    arrays.GRADE, arrays.SIDE_SLOPE, arrays.COMBINED, arrays.STRIKE, arrays.BOUNCE, arrays.HEAD, arrays.OVERHEAD,
    arrays.UNDER_LINE, arrays.KERB_SIDE,
)  # fmt: skip
#: Beside the kinds of margin: a lean whichever way, what a wheel carries, and what holds the machine.
EITHER, CARRIED, HELD = -1, -2, -3
#: Parts that a stretch and its tube are looked at in, one after the other until it is proven: along, across, in turn.
LOOKS = ((1, 3, 1), (4, 6, 3), (8, 12, 6))
#: The tube is first looked at in so many parts, their middles alone: what is not sure enough there is so nowhere.
QUICK = (1, 3, 3)
#: Poses looked at together; bounds the memory of any way.
_AT_ONCE = 1024


class Spread(NamedTuple):
    """Standard deviations after readings, and what levels are put right amiss by, ``(4, n)``: of pitch and roll as
    ratios, of the basket's floor and of the body in metres; the worst anywhere in the tube about each stretch.
    """

    sigma: Floats
    amiss: Floats

    def told(self, k: float) -> Floats:
        """Both together, what is put right amiss taken as its share of k sigmas."""
        return self.sigma + self.amiss / k


class Doubt(NamedTuple):
    """A kind of margin (of `Surer.sigma`) on ``(n,)`` stretches from pose to pose ``(n, 3)``: best estimate, and the
    standard deviation by the survey alone and of all else.

    ``by`` ``(n, 2)`` is what the margin loses for an error of the slope down, and of ``CARRIED`` of the slope over the
    span that counts, of ``HELD`` of pitch besides.
    """

    kind: int
    starts: Floats
    ends: Floats
    margin: Floats
    survey: Floats
    other: Floats
    by: Floats | None = None

    def where(self, rows: NDArray[np.bool_] | NDArray[np.intp]) -> Doubt:
        """Only some of the stretches."""
        starts, ends, margin, survey, other = (values[rows] for values in self[1:6])
        return Doubt(self.kind, starts, ends, margin, survey, other, None if self.by is None else self.by[rows])


@dataclass(frozen=True, eq=False)
class Surer:
    """A machine on a survey after readings.

    Parameters
    ----------
    posterior
        What is known of the levels.
    forms
        What is asked of them: ``points`` are first those of the basket's floor, then all corners of the body.
    n_basket
        How many of them are the basket's.
    hub_xi, hub_eta
        Of the wheels, metres.
    lateral_m, turn_rad
        The tube, to either side.
    limits_rad
        Of pitch and roll, for both combined.
    spans_m
        Wheelbase and track.
    """

    posterior: Posterior
    forms: Slopes
    n_basket: int
    hub_xi: Floats
    hub_eta: Floats
    lateral_m: float
    turn_rad: float
    limits_rad: tuple[float, float]
    spans_m: tuple[float, float]

    @classmethod
    def of(cls, site: Site, machine: Machine, hazards: Hazards, configurations: Iterable[str]) -> Surer:
        """For a machine driven in some configurations, after the site's own readings."""
        shapes = [machine.configurations[name] for name in configurations]
        basket = _outer([corner for shape in shapes for corner in shape.basket.ring])
        body = _outer([corner for shape in shapes for box in shape.boxes for corner in box.ring])
        first, forms = forms_of(machine, basket), forms_of(machine, [*basket, *body])
        limits = hazards.body.limit_up, hazards.body.limit_down, hazards.body.limit_side
        up, down, side = (math.atan(limit) for limit in limits)
        return cls(
            Posterior.of(site.ground, site.readings),
            forms,
            len(first.points),
            np.array([wheel.xi_m for wheel in machine.wheels]),
            np.array([wheel.eta_m for wheel in machine.wheels]),
            float(hazards.body.lateral),
            math.asin(hazards.body.sin_heading),
            (min(up, down), side),
            (machine.wheelbase_m, machine.track_m),
        )

    def sigma(self, doubt: Doubt, found: Spread, k: float) -> Floats:
        """Standard deviation of the levels' part of a margin in its unit."""
        pitch, roll, basket, point = found.told(k)
        if doubt.by is not None:
            spans = np.maximum(pitch / self.spans_m[0], roll / self.spans_m[1])
            besides = {CARRIED: spans, HELD: pitch}[doubt.kind]
            return np.asarray(doubt.by[:, 0] * np.hypot(pitch, roll) + doubt.by[:, 1] * besides)
        told = {
            arrays.GRADE: np.degrees(pitch),
            arrays.SIDE_SLOPE: np.degrees(roll),
            arrays.KERB_SIDE: np.degrees(roll),
            arrays.COMBINED: np.hypot(pitch / self.limits_rad[0], roll / self.limits_rad[1]),
            EITHER: np.degrees(np.hypot(pitch, roll)),
            arrays.BOUNCE: basket,
        }
        return np.asarray(told.get(doubt.kind, point))

    def along(self, doubt: Doubt, k: float) -> Floats:
        """Standard deviation of the levels' part of a margin, stretch by stretch; never more than the survey's own."""
        sigma = doubt.survey.copy()
        if not self.posterior.surer:
            return sigma
        rows = np.flatnonzero(np.isfinite(doubt.other))
        for look in LOOKS:
            rows = rows[doubt.margin[rows] < k * np.hypot(sigma[rows], doubt.other[rows])]
            some = doubt.where(rows)
            # Poses that are not sure enough by themselves are not looked at closer.
            rows = rows[some.margin >= k * np.hypot(self.sigma(some, self.spread(some, QUICK), k), some.other)]
            some = doubt.where(rows)
            sigma[rows] = np.minimum(sigma[rows], self.sigma(some, self.spread(some, look, astray=True), k))
        return sigma

    def least(self, doubt: Doubt, k: float) -> Floats:
        """The same as closely as it is ever looked at, whatever the margins."""
        if not self.posterior.surer:
            return doubt.survey
        return np.minimum(doubt.survey, self.sigma(doubt, self.spread(doubt, LOOKS[-1], astray=True), k))

    def at(self, at: Anchor, k: float) -> tuple[float, float]:
        """Standard deviations of pitch and roll in the tube about a pose, degrees; infinite where no reading tells."""
        if not self.posterior.surer:
            return math.inf, math.inf
        pose, none = np.array([[at.x, at.y, at.heading]]), np.zeros(1)
        leans = Doubt(EITHER, pose, pose, none, none, none)
        pitch, roll, *_ = np.degrees(self.spread(leans, LOOKS[-1], astray=True).told(k))
        return float(pitch[0]), float(roll[0])

    def spread(self, doubt: Doubt, look: tuple[int, int, int], *, astray: bool = False) -> Spread:
        """The worst in the tube about each stretch, looked at in so many parts along, across and in turn.

        ``astray`` takes in whatever lies between the poses in the middles of these parts.
        """
        at_once, used = max(1, _AT_ONCE // math.prod(look)), self.used(doubt.kind)
        forms, parts = np.concatenate(self.forms)[used], [[np.empty((4, 0))] * 2]
        for first in range(0, len(doubt.margin), at_once):
            some = slice(first, first + at_once)
            hub_x, hub_y, off = self.poses(doubt.starts[some], doubt.ends[some], look)
            found = self.posterior.widest(hub_x, hub_y, off if astray else 0.0, forms)
            parts.append([self.worst(value, used, len(doubt.starts[some])) for value in found])
        sigma, amiss = (np.concatenate([part[n] for part in parts], axis=1) for n in (0, 1))
        return Spread(sigma, amiss)

    def worst(self, value: Floats, used: NDArray[np.bool_], stretches: int) -> Floats:
        """The worst of the poses of each stretch, ``(4, stretches)``, of the used forms' ``(poses, used)``; else 0."""
        every = np.zeros((len(value), len(used)))
        every[:, used] = value
        return np.stack([every[:, span].reshape(stretches, -1).max(axis=1) for span in self._spans()])

    def _spans(self) -> tuple[slice, slice, slice, slice]:
        """Which forms are of pitch, of roll, of the basket's floor and of the whole body."""
        first, second = len(self.forms.pitch), len(self.forms.pitch) + len(self.forms.roll)
        return slice(first), slice(first, second), slice(second, second + self.n_basket), slice(second, None)

    def used(self, kind: int) -> NDArray[np.bool_]:
        """Which forms a kind of margin rests on."""
        pitch, roll, basket, point = self._spans()
        told = {
            arrays.GRADE: (pitch,), arrays.SIDE_SLOPE: (roll,), arrays.KERB_SIDE: (roll,), arrays.BOUNCE: (basket,)
        }  # fmt: skip
        both = dict.fromkeys((arrays.COMBINED, EITHER, CARRIED, HELD), (pitch, roll))
        used = np.zeros(sum(map(len, self.forms)), dtype=bool)
        for span in (told | both).get(kind, (point,)):
            used[span] = True
        return used

    def poses(self, starts: Floats, ends: Floats, look: tuple[int, int, int]) -> tuple[Floats, Floats, Floats]:
        """Hubs of the poses that stand for a stretch and its tube, and how far each hub may be from there, ``(k, 4)``.

        No point of the machine travels more than a step between two stances; the path bends off its chord.
        """
        n_along, n_aside, n_turn = look
        turned = (ends[:, 2] - starts[:, 2] + math.pi) % (2.0 * math.pi) - math.pi
        chord = np.hypot(*(ends - starts)[:, :2].T)
        arm = np.hypot(self.hub_xi, self.hub_eta)
        bent = (chord * np.abs(turned) / 8.0)[:, None]
        astray = 0.5 * STANCE_STEP / n_along + bent + self.lateral_m / n_aside + self.turn_rad / n_turn * arm
        middles = [(2.0 * np.arange(n) + 1.0) / n - 1.0 for n in look]
        hub_x, hub_y = [], []
        for ahead, aside, skew in product(*middles):
            share = 0.5 * (ahead + 1.0)
            origin = starts[:, :2] + share * (ends - starts)[:, :2]
            course = starts[:, 2] + share * turned
            x = origin[:, 0] - np.sin(course) * aside * self.lateral_m
            y = origin[:, 1] + np.cos(course) * aside * self.lateral_m
            heading = course + skew * self.turn_rad
            cos, sin = np.cos(heading)[:, None], np.sin(heading)[:, None]
            hub_x.append(x[:, None] + cos * self.hub_xi - sin * self.hub_eta)
            hub_y.append(y[:, None] + sin * self.hub_xi + cos * self.hub_eta)
        count = len(hub_x)
        shape = (len(starts) * count, 4)
        return (
            np.stack(hub_x, axis=1).reshape(shape), np.stack(hub_y, axis=1).reshape(shape),
            np.repeat(astray, count, axis=0),
        )  # fmt: skip


def _outer(corners: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """The outermost of some corners: a standard deviation of a height is a norm, so it is largest at one of these."""
    hull = shapely.MultiPoint(corners).convex_hull
    return [(float(xi), float(eta)) for xi, eta in shapely.get_coordinates(hull)]
