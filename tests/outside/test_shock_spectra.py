"""The integrator that bounds of bounce are tested with, against published and closed-form answers of linear systems.

It is a reference of the tests, not a part of the product: a row here says that the reference can be relied on.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.pitch_plane import PitchPlane, exact_step, march, rough_road

Floats = NDArray[np.float64]

#: A single mass on a spring: a tip without damping on a chassis and tyres that do not give.
SINGLE = PitchPlane(tip_kg=1e-3, boom_damping=0.0, tyre_npm=1e11, boom_period_s=1.0)
STEP_S = 1.0 / 2000.0


def rectangle(t: Floats) -> Floats:
    return np.where((t >= 0.0) & (t < 1.0), 1.0, 0.0)


def half_sine(t: Floats) -> Floats:
    return np.where((t >= 0.0) & (t <= 1.0), np.sin(math.pi * t), 0.0)


def versed_sine(t: Floats) -> Floats:
    return np.where((t >= 0.0) & (t <= 1.0), 0.5 - 0.5 * np.cos(2.0 * math.pi * t), 0.0)


def triangle(t: Floats) -> Floats:
    return np.asarray(np.maximum(0.0, 1.0 - np.abs(2.0 * t - 1.0)))


def decaying(t: Floats) -> Floats:
    return np.where((t >= 0.0) & (t <= 1.0), 1.0 - t, 0.0)


def response(pulse: Callable[[Floats], Floats], ratio: float) -> tuple[float, float]:
    """Largest height of the tip over a pulse's peak, at any time and after the pulse; both axles are lifted by it."""
    t = np.arange(-0.01, ratio + 1.6, STEP_S)
    ground = pulse(t / ratio)
    tip = SINGLE.tip(ground, ground, STEP_S)
    return float(np.abs(tip).max()), float(np.abs(tip[t > ratio + STEP_S]).max())


#: 4.2: 2 sin(pi r) up to r = 1/2, 2.0 from there: Harris, Shock and Vibration Handbook, ch. 8 (2.0 seen in a copy,
#: studmed.ru, page 34); the formula is a value from memory. 4.3, 4.5, 4.6: 1.7683, 1.7051, 1.5172 are computed, quoted
#: as 1.77, 1.71, 1.52 (values from memory). 4.9: the table for a decaying triangle, Clough and Penzien, value from
#: memory, to four digits as recomputed.
PEAKS = [
    (rectangle, 0.10, 2.0 * math.sin(0.1 * math.pi)), (rectangle, 0.25, math.sqrt(2.0)), (rectangle, 0.75, 2.0),
    (half_sine, 0.25, 0.9428), (half_sine, 0.5, math.pi / 2), (half_sine, 0.82, 1.7683), (half_sine, 1.0, math.sqrt(3)),
    (half_sine, 1.5, 1.5), (half_sine, 2.0, 1.2681),
    (versed_sine, 0.5, 4.0 / 3.0), (versed_sine, 1.0, 1.7051),
    (triangle, 0.5, 4.0 / math.pi), (triangle, 0.9, 1.5172), (triangle, 1.0, 1.5085),
    (decaying, 0.2, 0.6012), (decaying, 0.371, 1.0), (decaying, 0.4, 1.0513), (decaying, 0.5, 1.1962),
    (decaying, 0.75, 1.4221), (decaying, 1.0, 1.5502), (decaying, 1.5, 1.6891), (decaying, 2.0, 1.7626),
]  # fmt: skip


@pytest.mark.parametrize(("pulse", "ratio", "peak"), PEAKS)
def test_peaks_of_shocks(pulse: Callable[[Floats], Floats], ratio: float, peak: float) -> None:
    assert response(pulse, ratio)[0] == pytest.approx(peak, rel=0.005)


def test_a_step_doubles() -> None:
    """4.1: 2.0 times the step, exact; value from memory."""
    t = np.arange(-0.01, 1.5, STEP_S)
    ground = np.where(t >= 0.0, 1.0, 0.0)
    assert SINGLE.tip(ground, ground, STEP_S).max() == pytest.approx(2.0, rel=0.005)


#: 4.4: |4 r cos(pi r) / (1 - 4 r^2)|, computed; that it and 4.5, 4.6 vanish where they do: Harris, ch. 8 (studmed.ru,
#: page 34).
RESIDUALS = [
    (half_sine, 0.684, 1.7155), (half_sine, 1.0, 4.0 / 3.0), (half_sine, 1.5, 0.0),
    (versed_sine, 1.0, math.pi / 2), (versed_sine, 2.0, 0.0), (triangle, 2.0, 0.0),
]  # fmt: skip


@pytest.mark.parametrize(("pulse", "ratio", "residual"), RESIDUALS)
def test_what_rings_on_after_a_shock(pulse: Callable[[Floats], Floats], ratio: float, residual: float) -> None:
    assert response(pulse, ratio)[1] == pytest.approx(residual, rel=0.005, abs=0.01)


#: 4.7: Harris, Table 8.3 (studmed.ru, page 34), whose ratios lie about 0.01 above the exact ones.
LARGEST = [(rectangle, 1.00), (half_sine, 1.04), (versed_sine, 1.05), (triangle, 1.06)]


@pytest.mark.parametrize(("pulse", "printed"), LARGEST)
def test_the_worst_of_a_shock_over_the_worst_that_rings_on(pulse: Callable[[Floats], Floats], printed: float) -> None:
    found = [response(pulse, ratio) for ratio in np.arange(0.4, 1.3, 0.02)]
    worst, rings_on = (max(values) for values in zip(*found, strict=True))
    assert worst / rings_on == pytest.approx(printed, abs=0.015)


#: 4.8: areas over peak and length, studmed.ru, page 32. 4.11: a short pulse lifts by 2 pi r times its area.
AREAS = [(rectangle, 1.0), (half_sine, 2.0 / math.pi), (versed_sine, 0.5), (triangle, 0.5)]


@pytest.mark.parametrize(("pulse", "area"), AREAS)
def test_a_short_shock_counts_by_its_area(pulse: Callable[[Floats], Floats], area: float) -> None:
    assert response(pulse, 0.02)[0] == pytest.approx(2.0 * math.pi * 0.02 * area, rel=0.005)


def test_a_pulse_and_its_mirror_image_ring_on_alike() -> None:
    """4.10: Harris, ch. 8 (studmed.ru, page 34)."""
    mirrored = response(lambda t: decaying(1.0 - t), 0.7)[1]
    assert response(decaying, 0.7)[1] == pytest.approx(mirrored, rel=0.005)


# The golden car of the International Roughness Index: constants and matrix seen in a public copy of iri.m; states are
# slopes, the input is the slope of the profile.
K1, K2, MU, C, V_MPS = 653.0, 63.3, 0.15, 6.0, 80.0 / 3.6
CAR = np.array([
    [0.0, 1.0, 0.0, 0.0], [-K2, -C, K2, C], [0.0, 0.0, 0.0, 1.0], [K2 / MU, C / MU, -(K1 + K2) / MU, -C / MU],
])  # fmt: skip
ROAD = np.array([[0.0], [0.0], [0.0], [K1 / MU]])
#: World Bank Technical Paper 46 (as origin from memory), as printed in the public code vsimko/rroad: S by rows, then P.
PRINTED = {
    0.100: (
        [
            [0.9994014, 4.442351e-3, 2.188854e-4, 5.72179e-5], [-0.2570548, 0.975036, 7.966216e-3, 2.458427e-2],
            [3.960378e-3, 3.814527e-4, 0.9548048, 4.055587e-3], [1.687312, 0.1638951, -19.34264, 0.7948701],
        ],
        [3.793992e-4, 0.2490886, 4.123478e-2, 17.65532],
    ),
    0.250: (
        [
            [0.9966071, 1.091514e-2, -2.083274e-3, 3.190145e-4], [-0.5563044, 0.9438768, -0.8324718, 5.064701e-2],
            [2.153176e-2, 2.126763e-3, 0.7508714, 8.221888e-3], [3.335013, 0.3376467, -39.12762, 0.4347564],
        ],
        [5.476107e-3, 1.388776, 0.2275968, 35.79262],
    ),
    0.200: (
        [
            [0.9977588, 8.780606e-3, -6.436089e-4, 2.127641e-4], [-0.4660258, 0.9535856, -0.4602074, 4.352945e-2],
            [1.448438e-2, 1.418428e-3, 0.8332105, 7.105564e-3], [2.908761, 0.2901964, -33.84164, 0.5574984],
        ],
        [2.885245e-3, 0.9262331, 0.1523053, 30.93289],
    ),
}  # fmt: skip


@pytest.mark.parametrize("dx_m", sorted(PRINTED))
def test_steps_of_the_golden_car(dx_m: float) -> None:
    """To 1e-6, but for P(1): its printed values are rounded (7e-4 at 100 mm, 2e-5 at 250 mm)."""
    s, p = exact_step(CAR, ROAD, dx_m / V_MPS)
    assert s == pytest.approx(np.array(PRINTED[dx_m][0]), rel=1e-6)
    assert p[1:, 0] == pytest.approx(PRINTED[dx_m][1][1:], rel=1e-6)
    assert p[0, 0] == pytest.approx(PRINTED[dx_m][1][0], rel=1e-3)


def test_the_last_step_of_a_row_that_one_copy_misprints() -> None:
    """3: .4347564 at 250 mm; a public copy of the table prints .4347664."""
    s, _ = exact_step(CAR, ROAD, 0.250 / V_MPS)
    assert s[3, 3] == pytest.approx(0.4347564, abs=5e-8) and abs(s[3, 3] - 0.4347664) > 9e-6


def test_roughness_of_a_class_of_roads() -> None:
    """3: class C of ISO 8608 (from memory), from 0.011 to 2.83 cycles a metre: 15.2 mm, by Gd(n0) n0^2 (1/n1 - 1/n2).

    The levels that ``test_rebound`` drives over, along 40 km.
    """
    levels = rough_road(np.random.default_rng(8608), np.arange(0.0, 40_000.0, 0.9))
    assert levels.std() == pytest.approx(15.2e-3, rel=0.01)


def test_poles_of_the_golden_car() -> None:
    """Constants seen in a public copy of iri.m; reproduced."""
    poles = np.linalg.eigvals(CAR)
    expected = [-20.40992621 + 64.42262610j, -2.590073786 + 7.323397386j]
    for pole in expected:
        assert np.abs(poles - pole).min() < 1e-6


#: Wavelength, m, against roughness of a sine of 1 mm, mm/m: IRI = 4 A G / lambda, computed.
SINES = {
    1.3: 1.6335, 2.0: 3.0671, 2.4: 2.7733, 5: 0.9357, 6: 0.7660, 10: 0.5039, 15: 0.4073, 20: 0.2468, 30: 0.0606,
}  # fmt: skip


def test_roughness_of_sines() -> None:
    dx, waves = 0.02, np.array(list(SINES), dtype=float)
    s = np.arange(0.0, 600.0 + dx / 2, dx)
    profile = 1e-3 * np.sin(2.0 * math.pi * s[:, None] / waves)
    states = march(CAR, ROAD, (np.diff(profile, axis=0) / dx)[:, None, :], dx / V_MPS)
    settled = np.abs(states[s > 300.0, 2] - states[s > 300.0, 0]).mean(axis=0)
    assert 1000 * settled == pytest.approx(list(SINES.values()), rel=0.005)


def roughness(profile: Floats, dx_m: float) -> float:
    """Of 100 m or more of levels, from rest and without a moving average, mm/m."""
    states = march(CAR, ROAD, (np.diff(profile) / dx_m)[:, None, None], dx_m / V_MPS)
    return float(1000 * np.abs(states[1:, 2] - states[1:, 0]).mean())


@pytest.mark.parametrize(
    ("dx_m", "bump", "step", "sine"),
    [(0.25, 0.27584, 0.34508, 2.676), (0.1, 0.27664, 0.34520, 2.750), (0.05, 0.27568, 0.34520, 2.768)],
)
def test_roughness_of_a_bump_a_step_and_a_sine(dx_m: float, bump: float, step: float, sine: float) -> None:
    """Computed: a triangle 10 mm high, 1 m at its base, and a step of 10 mm, half way along 100 m; a sine of 2.4 m."""
    s = np.arange(round(100.0 / dx_m) + 1) * dx_m
    assert roughness(0.01 * np.maximum(0.0, 1.0 - np.abs(s - 50.5) / 0.5), dx_m) == pytest.approx(bump, rel=0.0005)
    assert roughness(np.where(s > 50.0 + 1e-9, 0.01, 0.0), dx_m) == pytest.approx(step, rel=0.0005)
    long = np.arange(round(2000.0 / dx_m) + 1) * dx_m
    assert roughness(1e-3 * np.sin(2.0 * math.pi * long / 2.4), dx_m) == pytest.approx(sine, abs=0.002)


def test_waves_that_a_car_feels_most() -> None:
    """Computed: gains of 1.6765 at 2.292 m and 1.5376 at 15.78 m (published as about 2.4 m and 15 m, from memory)."""
    for wave_m, gain in ((2.292, 1.6765), (15.78, 1.5376)):
        found = {}
        for length_m in (0.97 * wave_m, wave_m, 1.03 * wave_m):
            rate = 2j * math.pi * V_MPS / length_m
            states = np.linalg.solve(rate * np.eye(4) - CAR, ROAD[:, 0])  # to a slope of 1
            found[length_m] = float(abs(states[2] - states[0]))
        assert found[wave_m] == max(found.values()) == pytest.approx(gain, abs=0.0005)
