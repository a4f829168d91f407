"""What spot levels leave unsure of the levels under the wheels, and so of pitch, roll and heights (docs/method.md 14).

The survey's error is a Gaussian field; after readings, what is left of it is one too, whose covariance simple kriging
gives. Pitch, roll and the height of a body point are linear in the levels under the four wheels, so each has a standard
deviation that depends on where the machine stands.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from routeplan.machine.model import Machine
from routeplan.site.model import Accuracy, Ground
from routeplan.site.reading import Reading
from routeplan.site.readings import alike, places_of, weights

Floats = NDArray[np.float64]


class Slopes(NamedTuple):
    """Linear forms of wheel levels FL FR RL RR, each ``(m, 4)``, of which the least sure counts.

    ``pitch`` of either side and ``roll`` of either axle, as slopes; ``points`` are heights, metres.
    """

    pitch: Floats
    roll: Floats
    points: Floats


def forms_of(machine: Machine, corners: Sequence[tuple[float, float]]) -> Slopes:
    """The forms whose standard deviations without readings are those of ``uncertainty``.

    A body point stands on the middles of both axles, and leans with either of them.
    """
    base, track = machine.wheelbase_m, machine.track_m
    pitch = np.array([(1.0, 0.0, -1.0, 0.0), (0.0, 1.0, 0.0, -1.0)]) / base
    roll = np.array([(1.0, -1.0, 0.0, 0.0), (0.0, 0.0, 1.0, -1.0)]) / track
    points = []
    for xi, eta in corners:
        q = (xi - machine.wheels[2].xi_m) / base
        middle = np.array([q, q, 1.0 - q, 1.0 - q]) / 2.0
        points += [middle + eta * axle for axle in roll]
    return Slopes(pitch, roll, np.array(points))


@dataclass(frozen=True, eq=False)
class Posterior:
    """What a survey and the readings after it know of the levels.

    Parameters
    ----------
    accuracy
        Of the survey.
    x, y
        ``(n,)`` where readings were taken.
    own_m2
        ``(n,)`` their own variances.
    pull
        ``(n,)`` what each pulls the levels by, see ``site.readings.weights``.
    cell_m
        Spacing of the levels: between nodes they are put right by what the nodes are.
    """

    accuracy: Accuracy
    x: Floats
    y: Floats
    own_m2: Floats
    pull: Floats
    cell_m: float

    @classmethod
    def of(cls, ground: Ground, readings: Sequence[Reading]) -> Posterior:
        """After these readings; as after none where the survey's accuracy is assumed, for then they prove nothing."""
        if ground.accuracy.assumed or not readings:
            none = np.empty(0)
            return cls(ground.accuracy, none, none, none, none, ground.cell_m)
        own_m2 = np.array([one.sigma_m**2 for one in readings])
        pull = np.abs(weights(readings, ground))
        return cls(ground.accuracy, *places_of(readings), own_m2, pull, ground.cell_m)

    def and_then(self, x: Floats, y: Floats, sigma_m: float) -> Posterior:
        """After further readings that find the levels where they are held to be: those pull nothing."""
        return replace(
            self, x=np.append(self.x, x), y=np.append(self.y, y), own_m2=np.append(self.own_m2, x * 0.0 + sigma_m**2),
            pull=np.append(self.pull, x * 0.0),
        )  # fmt: skip

    @property
    def surer(self) -> bool:
        """Whether there is any reading that makes anything surer."""
        return bool(self.x.size)

    @cached_property
    def inverse(self) -> Floats:
        """Inverse of the covariance of what readings lie off the survey by, ``(n, n)``."""
        covariance = alike(self.accuracy, self.x, self.y, self.x, self.y) + np.diag(self.own_m2)
        return np.asarray(np.linalg.inv(covariance), dtype=np.float64)

    def between(self, x: Floats, y: Floats) -> Floats:
        """Covariance of the levels at places, ``(p, p)`` m2."""
        told = alike(self.accuracy, x, y, self.x, self.y)
        return np.asarray(alike(self.accuracy, x, y, x, y) - told @ self.inverse @ told.T)

    def told(self, hub_x: Floats, hub_y: Floats, forms: Floats, x: Floats, y: Floats) -> Floats:
        """Covariance of forms in poses with the levels at places, ``(k, m, p)``."""
        to_readings = np.einsum("mi,kin->kmn", forms, alike(self.accuracy, hub_x, hub_y, self.x, self.y))
        to_places = np.einsum("mi,kip->kmp", forms, alike(self.accuracy, hub_x, hub_y, x, y))
        return np.asarray(to_places - to_readings @ self.inverse @ alike(self.accuracy, self.x, self.y, x, y))

    def widest(self, hub_x: Floats, hub_y: Floats, astray_m: Floats | float, forms: Floats) -> tuple[Floats, Floats]:
        """Upper bounds of the standard deviation of forms, and of what is put right amiss between nodes, ``(k, m)``.

        They hold for every pose of a machine in which each hub lies within ``astray_m`` of where it is here: however
        the machine is moved the survey alone is as sure of a form as here, and the weights that readings have here are
        not better than the best there, while the covariance of a hub and a reading changes by ``C (e^(d/c) - 1)`` at
        most.

        Parameters
        ----------
        hub_x, hub_y
            ``(k, 4)`` hubs of a machine that stands in k poses.
        astray_m
            ``(k, 4)``, or one for all.
        forms
            ``(m, 4)``.
        """
        c = self.accuracy.correlation_m
        between = alike(self.accuracy, hub_x, hub_y, hub_x[..., None, :], hub_y[..., None, :])
        before = np.einsum("mi,kij,mj->km", forms, between, forms)
        with_readings = alike(self.accuracy, hub_x, hub_y, self.x, self.y)
        told = np.einsum("mi,kin->kmn", forms, with_readings)
        shares = told @ self.inverse
        astray = np.broadcast_to(np.asarray(astray_m) / c, hub_x.shape)
        moved = with_readings * np.expm1(astray)[..., None]
        doubt = 2.0 * np.einsum("kmn,mi,kin->km", np.abs(shares), np.abs(forms), moved)
        left = np.clip(before - np.sum(shares * told, axis=2) + doubt, 0.0, before)
        steps = math.exp(math.sqrt(2.0) * self.cell_m / c) - 1.0
        amiss = np.einsum("mi,kin,n->km", np.abs(forms), with_readings * np.exp(astray)[..., None], self.pull) * steps
        return np.sqrt(left), amiss
