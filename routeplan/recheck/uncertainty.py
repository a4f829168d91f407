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
from routeplan.site.model import Accuracy

Floats = NDArray[np.float64]


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
