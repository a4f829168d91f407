"""How sure a margin is: sigmas of slopes and body points from the accuracy of the levels, and k for a whole move.

Levels have a short-range error alike over ``correlation_m``: rho(d) = exp(-d / correlation). The formulas are those of
section 8 of ``docs/method.md``; a Monte Carlo of four correlated contacts in the tests agrees with them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from routeplan.machine.model import Machine
from routeplan.recheck.readings import Readings
from routeplan.site.model import Accuracy

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


def confidence_k(length_m: float, *, route_confidence: float, correlation_m: float) -> float:
    """One-sided k for which a whole route is as sure as asked, its correlation lengths taken as independent.

    >>> round(confidence_k(0.5, route_confidence=0.95, correlation_m=2.0), 4)
    1.6449
    """
    parts = max(1.0, length_m / correlation_m)
    return NormalDist().inv_cdf(1.0 - (1.0 - route_confidence) / parts)


@dataclass(frozen=True)
class Sigmas:
    """Standard deviations for one machine on one survey; slopes as ratios, levels in metres."""

    accuracy: Accuracy
    wheelbase_m: float
    track_m: float
    xi_rear_m: float

    @classmethod
    def of(cls, machine: Machine, accuracy: Accuracy) -> Sigmas:
        """For a machine standing on a survey."""
        return cls(accuracy, machine.wheelbase_m, machine.track_m, machine.wheels[2].xi_m)

    def _rho(self, distance_m: float) -> float:
        return math.exp(-distance_m / self.accuracy.correlation_m)

    @property
    def pitch(self) -> float:
        """Of the pitch of one side of the machine (tripod)."""
        return self.accuracy.short_range_m / self.wheelbase_m * math.sqrt(2 * (1 - self._rho(self.wheelbase_m)))

    @property
    def roll(self) -> float:
        """Of the roll of one axle."""
        return self.accuracy.short_range_m / self.track_m * math.sqrt(2 * (1 - self._rho(self.track_m)))

    def point(self, xi_m: Floats, eta_m: Floats) -> Floats:
        """Of the level of body points, metres."""
        q = (xi_m - self.xi_rear_m) / self.wheelbase_m
        across = self._rho(self.track_m)
        along = self._rho(self.wheelbase_m) + self._rho(math.hypot(self.wheelbase_m, self.track_m))
        square = (1 + across) / 2 * (q**2 + (1 - q) ** 2) + along * q * (1 - q)
        return np.asarray(np.sqrt(self.accuracy.short_range_m**2 * square + (eta_m * self.roll) ** 2))


@dataclass(frozen=True, eq=False)
class Sure:
    """Standard deviations of a machine that stands in poses: what readings leave of those of the survey, never more.

    ``pitch`` and ``roll`` have the shape of the poses, or are numbers where no reading tells. ``left`` ``(..., 4, 4)``
    is the covariance of the levels under the wheels, ``amiss`` ``(..., 4)`` what each is put right amiss by for each of
    k sigmas.
    """

    survey: Sigmas
    pitch: Floats | float
    roll: Floats | float
    left: Floats | None
    amiss: Floats | None

    @classmethod
    def of(cls, survey: Sigmas, readings: Readings | None, hub_x: Floats, hub_y: Floats, k: float) -> Sure:
        """Of poses whose hubs FL FR RL RR are at these places."""
        if readings is None:
            return cls(survey, survey.pitch, survey.roll, None, None)
        left, amiss = readings.left(hub_x, hub_y), readings.amiss(hub_x, hub_y) / k

        def between(one: int, other: int) -> Floats:
            square = left[..., one, one] + left[..., other, other] - 2.0 * left[..., one, other]
            return np.asarray(np.sqrt(np.maximum(square, 0.0)) + amiss[..., one] + amiss[..., other])

        pitch = np.maximum(between(0, 2), between(1, 3)) / survey.wheelbase_m
        roll = np.maximum(between(0, 1), between(2, 3)) / survey.track_m
        return cls(survey, np.minimum(pitch, survey.pitch), np.minimum(roll, survey.roll), left, amiss)

    def point(self, xi_m: Floats, eta_m: Floats) -> Floats:
        """Of the level of body points, metres: every point in every pose, one axis more than the poses."""
        if self.left is None or self.amiss is None:
            return self.survey.point(xi_m, eta_m)
        return self._heights(xi_m, eta_m, self.left[..., None, :, :], self.amiss[..., None, :])

    def point_in(self, poses: tuple[Ints, Ints], xi_m: Floats, eta_m: Floats) -> Floats:
        """Of the level of body points, each in a pose of its own."""
        if self.left is None or self.amiss is None:
            return self.survey.point(xi_m, eta_m)
        return self._heights(xi_m, eta_m, self.left[poses], self.amiss[poses])

    def gap_in(self, xi_m: Floats, eta_m: Floats) -> Floats:
        """Of the gap between body points and the ground below, which stays as sure as the survey alone makes it: every
        point on both planes in every pose, ``(..., 9, 1 or 2, points)``.
        """
        if self.left is None or self.amiss is None:
            heights = self.survey.point(xi_m, eta_m)
        else:
            heights = self._heights(xi_m, eta_m, self.left[..., None, None, :, :], self.amiss[..., None, None, :])
        return np.asarray(np.hypot(heights, self.survey.accuracy.short_range_m))

    def _heights(self, xi_m: Floats, eta_m: Floats, left: Floats, amiss: Floats) -> Floats:
        """The worse of the body leaning with its front axle and with its rear one, on the middles of both."""
        q, lean = (xi_m - self.survey.xi_rear_m) / self.survey.wheelbase_m, eta_m / self.survey.track_m
        worst = np.zeros(())
        for front, rear in ((lean, 0.0 * lean), (0.0 * lean, lean)):
            share = np.stack([q / 2 + front, q / 2 - front, (1 - q) / 2 + rear, (1 - q) / 2 - rear], axis=-1)
            square = np.sum(share * np.squeeze(left @ share[..., None], axis=-1), axis=-1)
            worst = np.maximum(worst, np.sqrt(np.maximum(square, 0.0)) + np.sum(np.abs(share) * amiss, axis=-1))
        return np.asarray(np.minimum(worst, self.survey.point(xi_m, eta_m)))
