"""A machine in its pitch plane as a motion in time, the test reference for bounds: exact steps of linear systems.

Two axles on tyres that are springs with damping, a chassis that heaves and pitches, and one mode of the boom: a mass at
the tip, sprung against where the rigid chassis would hold it. Nothing lifts off: small motions about rest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import expm

Floats = NDArray[np.float64]


def exact_step(a: Floats, b: Floats, step: float) -> tuple[Floats, Floats]:
    """Matrices S and P of ``x' = a x + b w`` over a step with w held: x(t + step) = S x(t) + P w."""
    states, inputs = b.shape
    whole = np.zeros((states + inputs, states + inputs))
    whole[:states, :states], whole[:states, states:] = a, b
    after = expm(whole * step)
    return after[:states, :states], after[:states, states:]


def march(a: Floats, b: Floats, inputs: Floats, step: float, *, start: Floats | None = None) -> Floats:
    """States after each step, ``(n + 1, states, runs)``, of ``(n, inputs, runs)`` held in each step, from rest."""
    s, p = exact_step(a, b, step)
    states = np.zeros((len(inputs) + 1, len(a), inputs.shape[2]))
    states[0] = 0.0 if start is None else start
    driven = p @ inputs
    for n in range(len(inputs)):
        states[n + 1] = s @ states[n] + driven[n]
    return states


def rough_road(rng: np.random.Generator, s: Floats, gd_m3: float = 256e-6) -> Floats:
    """Levels at some places of a path, m: waves of random phase, each with its share of ``Gd(n) = Gd(n0) (n / n0)^-2``.

    From 0.011 to 2.83 cycles a metre, n0 = 0.1: ISO 8608 (its form as in a public copy; class C by default, from
    memory).
    """
    ends = np.geomspace(0.011, 2.83, 401)
    waves, height = np.sqrt(ends[:-1] * ends[1:]), np.sqrt(2.0 * gd_m3 * 0.1**2 * (1.0 / ends[:-1] - 1.0 / ends[1:]))
    phase = rng.uniform(0.0, 2.0 * np.pi, waves.size)
    return np.asarray(sum(h * np.cos(2.0 * np.pi * n * s + p) for h, n, p in zip(height, waves, phase, strict=True)))


@dataclass(frozen=True)
class PitchPlane:
    """A machine on two axles, distances ahead of the rear axle; units kg, m, s, N.

    ``boom_period_s`` and ``boom_damping`` are those of the tip on a chassis that does not give.
    """

    wheelbase_m: float = 2.5
    tip_xi_m: float = 6.65
    mass_kg: float = 9700.0
    gravity_xi_m: float = 1.1
    inertia_kgm2: float = 25_000.0
    tip_kg: float = 800.0
    boom_period_s: float = 1.0
    boom_damping: float = 0.03
    tyre_npm: float = 2.0e6
    tyre_damping: float = 0.05

    @property
    def shares(self) -> Floats:
        """What a metre of rise under the front axle, and under the rear one, lifts the rigid tip by."""
        front = self.tip_xi_m / self.wheelbase_m
        return np.array([front, 1.0 - front])

    def system(self) -> tuple[Floats, Floats]:
        """``a`` and ``b``; states: heave, pitch, tip, their rates, both axles' ground; inputs: the ground's rates."""
        g, tip = self.gravity_xi_m, self.tip_xi_m
        mass = np.diag([self.mass_kg, self.inertia_kgm2, self.tip_kg])
        axles = np.array([[1.0, self.wheelbase_m - g, 0.0], [1.0, -g, 0.0]])
        boom = np.array([1.0, tip - g, -1.0])
        omega = 2.0 * math.pi / self.boom_period_s
        tyre_c = 2.0 * self.tyre_damping * math.sqrt(self.tyre_npm * self.mass_kg / 2.0)
        stiff = self.tyre_npm * axles.T @ axles + self.tip_kg * omega**2 * np.outer(boom, boom)
        slow = tyre_c * axles.T @ axles + 2.0 * self.boom_damping * omega * self.tip_kg * np.outer(boom, boom)
        a, b = np.zeros((8, 8)), np.zeros((8, 2))
        a[:3, 3:6] = np.eye(3)
        a[3:6, :3], a[3:6, 3:6] = -np.linalg.solve(mass, stiff), -np.linalg.solve(mass, slow)
        a[3:6, 6:] = np.linalg.solve(mass, self.tyre_npm * axles.T)
        b[3:6] = np.linalg.solve(mass, tyre_c * axles.T)
        b[6:] = np.eye(2)
        return a, b

    def rocked(self) -> tuple[float, float]:
        """Longest period, s, and least damping of all its modes: what rocking it by hand and counting would tell."""
        a, _ = self.system()
        values = np.linalg.eigvals(a[:6, :6])
        values = values[values.imag > 0.0]
        return float(2.0 * math.pi / np.abs(values).min()), float((-values.real / np.abs(values)).min())

    def tip(self, front_m: Floats, rear_m: Floats, step_s: float) -> Floats:
        """Height of the tip at every sample of the ground under both axles, from rest, m."""
        ground = np.stack([front_m, rear_m], axis=-1)
        a, b = self.system()
        states = march(a, b, (np.diff(ground, axis=0) / step_s)[..., None], step_s, start=self._rest(ground[0]))
        return np.asarray(states[:, 2, 0])

    def rigid(self, front_m: Floats, rear_m: Floats) -> Floats:
        """Height of the tip of a rigid machine on hard tyres, m."""
        return np.asarray(self.shares[0] * front_m + self.shares[1] * rear_m)

    def _rest(self, ground: Floats) -> Floats:
        pitch = (ground[0] - ground[1]) / self.wheelbase_m
        heave = ground[1] + pitch * self.gravity_xi_m
        return np.array([heave, pitch, self.shares @ ground, 0.0, 0.0, 0.0, *ground])[:, None]
