"""Spot levels under a second look: what they make of the levels as surveyed, and how sure wheels then stand
(docs/method.md 14).

Errors of the survey at readings and at wheels are one Gaussian vector. With ``L`` the Cholesky root of the covariance
of what readings lie off by, each place is told in the whitened readings, ``V = L^-1 C``: levels rise by
``V^T L^-1 beyond``, and what is left of a covariance is itself less ``V^T V``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from routeplan.recheck.levels import Raster
from routeplan.site.model import Accuracy, Ground
from routeplan.site.reading import Reading

Floats = NDArray[np.float64]


class Readings:
    """Readings after a survey, as one whitened vector.

    Parameters
    ----------
    ground
        The levels, those of the survey where readings put them right already.
    taken
        At least one reading, each where the survey has a level.
    """

    def __init__(self, ground: Ground, taken: Sequence[Reading]) -> None:
        self._accuracy: Accuracy = ground.accuracy
        self._x, self._y = (np.array([getattr(one.geometry, name) for one in taken]) for name in ("x", "y"))
        surveyed = ground.z if ground.surveyed is None else ground.surveyed
        raster = Raster(surveyed, x_min=ground.x_min, y_min=ground.y_min, cell_m=ground.cell_m)
        beyond = np.array([one.level_m for one in taken]) - raster.at(self._x, self._y)
        spread = self._told(self._x, self._y) + np.diag([one.sigma_m**2 for one in taken])
        self._root = np.linalg.cholesky(spread)
        self._white = np.linalg.solve(self._root, beyond)
        self._pull = np.abs(np.linalg.solve(self._root.T, self._white))
        self._cell_m = ground.cell_m

    def _alike(self, apart_m: Floats) -> Floats:
        return np.asarray(self._accuracy.short_range_m**2 * np.exp(-apart_m / self._accuracy.correlation_m))

    def _told(self, x: Floats, y: Floats) -> Floats:
        """Covariance of the errors at places with those at readings, one axis more than the places."""
        return self._alike(np.hypot(np.subtract.outer(x, self._x), np.subtract.outer(y, self._y)))

    def rise(self, x: Floats, y: Floats) -> Floats:
        """How far readings lift the levels at places of one axis, metres."""
        return np.asarray(np.linalg.solve(self._root, self._told(x, y).T).T @ self._white)

    def left(self, x: Floats, y: Floats) -> Floats:
        """Covariance, after readings, of the errors under wheels at ``(..., 4)`` places: ``(..., 4, 4)`` m2."""
        told = self._told(x, y)
        white = np.linalg.solve(self._root, told.reshape(-1, len(self._x)).T).T.reshape(told.shape)
        apart = np.hypot(x[..., :, None] - x[..., None, :], y[..., :, None] - y[..., None, :])
        return np.asarray(self._alike(apart) - np.einsum("...in,...jn->...ij", white, white))

    def amiss(self, x: Floats, y: Floats) -> Floats:
        """The most that a level between nodes, put right as the nodes are, differs from one put right itself, m."""
        change = math.exp(self._cell_m * math.sqrt(2.0) / self._accuracy.correlation_m) - 1.0
        return np.asarray(self._told(x, y) @ self._pull) * change
