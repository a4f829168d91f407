"""Sigmas of slopes and body points: closed forms in both rooms against Monte Carlo of four correlated contacts."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from routeplan.hazards import uncertainty
from routeplan.recheck.stance import mean_plane
from routeplan.recheck.uncertainty import Sigmas, confidence_k
from tests import worlds

DRAWS = 40_000
INDEPENDENT_M = 1e-6
CASES = [(0.70, 1.85, 2.0), (2.05, 3.00, 2.0), (1.95, 2.20, 6.0), (2.05, 2.90, INDEPENDENT_M)]


def contact_errors(track_m: float, wheelbase_m: float, correlation_m: float, sigma_m: float) -> NDArray[np.float64]:
    """``(DRAWS, 4)`` level errors of front left, front right, rear left, rear right, rho(d) = exp(-d / correlation)."""
    places = np.array([(wheelbase_m, track_m / 2), (wheelbase_m, -track_m / 2), (0, track_m / 2), (0, -track_m / 2)])
    apart = np.linalg.norm(places[:, None] - places[None], axis=2)
    root = np.linalg.cholesky(sigma_m**2 * np.exp(-apart / correlation_m))
    draws = np.random.default_rng(20260601).standard_normal((DRAWS, 4))
    return np.asarray(draws @ root.T)


@pytest.mark.parametrize(("track_m", "wheelbase_m", "correlation_m"), CASES)
def test_monte_carlo(track_m: float, wheelbase_m: float, correlation_m: float) -> None:
    accuracy = replace(worlds.GOOD_SURVEY, short_range_m=0.02, correlation_m=correlation_m)
    errors = contact_errors(track_m, wheelbase_m, correlation_m, 0.02)
    other = Sigmas(accuracy, wheelbase_m, track_m, 0.0)
    pitch = np.std((errors[:, 0] - errors[:, 2]) / wheelbase_m)
    roll_draws = (errors[:, 0] - errors[:, 1]) / track_m
    for sigma in (uncertainty.sigma_pitch(accuracy, wheelbase_m), other.pitch):
        assert sigma == pytest.approx(pitch, rel=0.02)
    for sigma in (uncertainty.sigma_roll(accuracy, track_m), other.roll):
        assert sigma == pytest.approx(np.std(roll_draws), rel=0.02)
    plane = mean_plane(errors, wheelbase_m=wheelbase_m, track_m=track_m, xi_rear_m=0.0)
    for q, eta in ((0.5, 0.0), (-2.0, 0.0), (3.0, 0.0), (3.0, 1.15), (1.2, -0.8)):
        drawn = np.std(plane.level + plane.pitch * q * wheelbase_m + eta * roll_draws)
        assert uncertainty.sigma_point(accuracy, wheelbase_m, track_m, q, eta) == pytest.approx(drawn, rel=0.02)
        found = float(other.point(np.array([q * wheelbase_m]), np.array([eta]))[0])
        assert found == pytest.approx(drawn, rel=0.02)


def test_one_side_is_never_surer_than_the_mean_plane() -> None:
    """s_pitch of the two-axle fit, (s/L) sqrt(1 + rT - rL - rD), is what the tripod's must not fall below."""
    errors = contact_errors(2.05, 3.0, 2.0, 0.01)
    fitted = np.std(mean_plane(errors, wheelbase_m=3.0, track_m=2.05, xi_rear_m=0.0).pitch)
    accuracy = replace(worlds.GOOD_SURVEY, short_range_m=0.01, correlation_m=2.0)
    rho_t, rho_l, rho_d = (uncertainty.correlation(d, accuracy) for d in (2.05, 3.0, math.hypot(3.0, 2.05)))
    assert fitted == pytest.approx(0.01 / 3.0 * math.sqrt(1 + rho_t - rho_l - rho_d), rel=0.02)
    assert uncertainty.sigma_pitch(accuracy, 3.0) >= fitted


def test_two_points_a_wheelbase_apart() -> None:
    """sqrt(2) sigma / L: 20 mm over 2 m is 1.414 % (arithmetic)."""
    accuracy = replace(worlds.GOOD_SURVEY, short_range_m=0.020, correlation_m=INDEPENDENT_M)
    assert 100 * uncertainty.sigma_pitch(accuracy, 2.0) == pytest.approx(1.414, abs=0.0005)
    assert 100 * Sigmas(accuracy, 2.0, 1.0, 0.0).pitch == pytest.approx(1.414, abs=0.0005)


def test_basket_of_a_boom_on_an_ordinary_survey() -> None:
    """Independent 20 mm, basket 6 m beyond an axle, wheelbase 2.9 m: 52 mm at the basket (derived)."""
    accuracy = replace(worlds.GOOD_SURVEY, short_range_m=0.020, correlation_m=INDEPENDENT_M)
    assert 1000 * uncertainty.sigma_point(accuracy, 2.9, 2.05, 1 + 6 / 2.9, 0.0) == pytest.approx(52, abs=0.5)
    other = Sigmas(accuracy, 2.9, 2.05, 0.0).point(np.array([8.9]), np.array([0.0]))
    assert 1000 * float(other[0]) == pytest.approx(52, abs=0.5)


def test_one_sided_normal_quantile() -> None:
    """z95 = 1.645 (personal.cityu.edu.hk/meachan, Ch2-1: 1740 + 1.645 x 70 = 1855 mm)."""
    assert uncertainty.sigmas_wanted(0.95, 1.0, 2.0) == pytest.approx(1.645, abs=0.0005)
    assert confidence_k(1.0, route_confidence=0.95, correlation_m=2.0) == pytest.approx(1.645, abs=0.0005)


def test_k_over_a_route_by_trial() -> None:
    """Over N independent places, k keeps the chance of an excess anywhere at 5 % or a little less: 20,000 routes."""
    places = 50
    k = uncertainty.sigmas_wanted(0.95, 2.0 * places, 2.0)
    assert confidence_k(2.0 * places, route_confidence=0.95, correlation_m=2.0) == pytest.approx(k, abs=1e-12)
    worst = np.random.default_rng(7).standard_normal((20_000, places)).max(axis=1)
    assert 0.044 < np.mean(worst > k) < 0.053
