"""Stopping distances: the arithmetic that anybody can do again, and the arithmetic of ramps."""

from __future__ import annotations

import math

import numpy as np
import pytest

from routeplan.hazards.grip import Footing


def level(brake_mps2: float, slope: float = 0.0) -> Footing:
    """Tyres that hold anything, so that the brakes decide."""
    one = np.ones(1)
    return Footing(9.0 * one, slope * one, one, one, 0.0, brake_mps2, 0.0 * one)


@pytest.mark.parametrize(
    ("speed_mps", "reaction_s", "brake_mps2", "distance_m"),
    [(0.7, 1.0, 1.0, 0.945), (1.5, 1.0, 1.0, 2.625), (1.4, 0.5, 2.0, 1.19)],
)
def test_stopping_distances(speed_mps: float, reaction_s: float, brake_mps2: float, distance_m: float) -> None:
    """v t + v^2 / 2a, computed here: .7 m/s after 1 s at 1 m/s2 takes .945 m, and so on."""
    assert speed_mps * reaction_s + speed_mps**2 / (2.0 * brake_mps2) == pytest.approx(distance_m, abs=1e-9)
    assert level(brake_mps2).fastest(0.0, distance_m, reaction_s)[0] == pytest.approx(speed_mps)
    asked = level(brake_mps2).asked(np.array([speed_mps]), distance_m, reaction_s)
    assert level(brake_mps2).left(asked)[0] == pytest.approx(0.0, abs=1e-12)


def test_downhill_gravity_comes_off_what_the_brakes_give() -> None:
    """a_eff = a - g sin(theta) (value from memory); 1:10 is 5.711 degrees."""
    theta = math.radians(5.711)
    left = 2.0 - 9.80665 * math.sin(theta)
    distance_m = 1.0 + 1.0 / (2.0 * left)
    assert level(2.0, 0.1).fastest(0.0, distance_m, 1.0)[0] == pytest.approx(1.0, abs=1e-4)
