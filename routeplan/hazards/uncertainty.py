"""How far a survey's error carries into pitch, roll and heights, and how many sigmas a route asks for
(docs/method.md 8).
"""

from __future__ import annotations

import math
from statistics import NormalDist

from routeplan.site.model import Accuracy


def correlation(distance_m: float, accuracy: Accuracy) -> float:
    """Correlation of two short-range errors at a distance."""
    return math.exp(-distance_m / accuracy.correlation_m)


def sigma_pitch(accuracy: Accuracy, wheelbase_m: float) -> float:
    """Standard deviation of the slope along one side (tripod), as a ratio."""
    return accuracy.short_range_m / wheelbase_m * math.sqrt(2.0 * (1.0 - correlation(wheelbase_m, accuracy)))


def sigma_roll(accuracy: Accuracy, track_m: float) -> float:
    """Standard deviation of the slope across one axle, as a ratio.

    >>> from routeplan.site.model import Accuracy
    >>> rough = Accuracy(0.010, 0.0, 1e-9, None, "S", None, False)
    >>> round(math.degrees(math.atan(sigma_roll(rough, 0.70))), 2)
    1.16
    """
    return accuracy.short_range_m / track_m * math.sqrt(2.0 * (1.0 - correlation(track_m, accuracy)))


def sigma_point(accuracy: Accuracy, wheelbase_m: float, track_m: float, q: float, eta_m: float) -> float:
    """Standard deviation of a body point's height, m; ``q`` = (xi - xi of the rear axle) / wheelbase."""
    r_track, r_base = correlation(track_m, accuracy), correlation(wheelbase_m, accuracy)
    r_diagonal = correlation(math.hypot(wheelbase_m, track_m), accuracy)
    along = 0.5 * (1.0 + r_track) * (q * q + (1.0 - q) ** 2) + (r_base + r_diagonal) * q * (1.0 - q)
    return math.sqrt(accuracy.short_range_m**2 * along + (eta_m * sigma_roll(accuracy, track_m)) ** 2)


def sigmas_wanted(confidence: float, length_m: float, correlation_m: float) -> float:
    """One-sided k that holds with this confidence over a whole route, not at one pose.

    >>> round(sigmas_wanted(0.95, 1.0, 2.0), 4), round(sigmas_wanted(0.95, 250.0, 2.0), 3)
    (1.6449, 3.353)
    """
    independent = max(1.0, length_m / correlation_m)
    return NormalDist().inv_cdf(1.0 - (1.0 - confidence) / independent)
