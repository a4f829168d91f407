"""What the swing of the basket leaves of its gaps along a way, as a check of the catalogue."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.catalogue import CheckKind
from routeplan.hazards.register import verdict
from routeplan.route.model import Check

Floats = NDArray[np.float64]

#: The line of the catalogue.
SWING = "basket swing"


@dataclass(frozen=True, eq=False)
class Swung:
    """At every sample of a path the point that is left least, ``(n,)`` each; empty where nobody knows of the bounce.

    Parameters
    ----------
    chainage_m, x, y
        Where the machine is.
    room_m
        How far the point may swing there, the best estimate.
    swing_m
        How far it may come to swing at the limits of the rows.
    sigma_m
        Of the room.
    assumed
        Whether a figure of the bounce is not the machine's own: then nothing is failed.
    """

    chainage_m: Floats
    x: Floats
    y: Floats
    room_m: Floats
    swing_m: Floats
    sigma_m: Floats
    assumed: bool

    @property
    def margin_m(self) -> Floats:
        """What is left."""
        return np.asarray(self.room_m - self.swing_m)

    def check(self, line: CheckKind, k: float, why: tuple[str, ...], from_m: float, to_m: float) -> Check:
        """The worst between two chainages; not made where there is no sample."""
        inside = np.flatnonzero((self.chainage_m >= from_m) & (self.chainage_m <= to_m))
        if not inside.size:
            nan = math.nan
            return Check(line.kind, "not proven", nan, nan, nan, line.unit, nan, k, nan, (nan, nan), line.source, why)
        slack = (self.margin_m - k * self.sigma_m)[inside]
        at = int(inside[np.argmin(np.where(np.isnan(slack), -np.inf, slack))])
        value, limit, sigma = (float(values[at]) for values in (self.swing_m, self.room_m, self.sigma_m))
        result = verdict(limit - value, sigma, k)
        if (why and result == "pass") or self.assumed:
            result = "not proven"
        return Check(
            line.kind, result, value, limit, limit - value, line.unit, sigma, k, float(self.chainage_m[at]),
            (float(self.x[at]), float(self.y[at])), line.source, why,
        )  # fmt: skip


def not_swung() -> Swung:
    """Of a machine of which nobody knows how its basket bounces."""
    none = np.empty(0)
    return Swung(none, none, none, none, none, none, assumed=True)
