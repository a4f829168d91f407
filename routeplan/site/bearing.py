"""How ground bears wheels, as an engineer or a maker says it; the same kinds for every surface."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass


@dataclass(frozen=True)
class HardGround:
    """A slab, deck, mat or trackway: the most that its engineer or maker lets one wheel carry, kN, as ``role`` says."""

    role: str
    wheel_kn: float


@dataclass(frozen=True)
class Clay:
    """Clay under tyres: undrained strength ``cu_kpa``, factor of safety asked for, and the pressure that ruts it.

    ``wet`` is the share of its strength and of that pressure that is left on a wet day; ``None`` when nobody said.
    """

    role: str
    cu_kpa: float
    factor: float
    rut_kpa: float
    wet: float | None = None


@dataclass(frozen=True)
class Drained:
    """Soil that drains: effective angle of friction, weight (under water its buoyant one), factor of safety."""

    phi_deg: float
    weight_knm3: float
    factor: float


@dataclass(frozen=True)
class Platform:
    """Granular platform on weaker ground: its thickness and the angle, from upright, at which it spreads a load.

    ``below`` is what the weak layer may carry: a pressure allowed, kPa, or the soil it is. ``wet`` is the share of that
    which is left on a wet day; ``None`` when nobody said.
    """

    role: str
    thickness_m: float
    spread_deg: float
    below: float | Drained
    wet: float | None = None


#: What is known of how ground bears wheels; a surface is one of these, never two.
Bearing = HardGround | Clay | Platform


@dataclass(frozen=True)
class Proof:
    """A cover's or plate's proof that wheels may go over it as it lies: from which day, what it lets one carry, and the
    last day, after which it may have been taken away.
    """

    date: dt.date
    limit: HardGround
    valid_until: dt.date | None = None
