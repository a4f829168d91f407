"""What ground lets one wheel carry: three kinds of ground, never mixed, each as kN on a wheel (docs/method.md 11)."""

from __future__ import annotations

import math
from dataclasses import dataclass

from routeplan.machine.model import Machine
from routeplan.site.bearing import Bearing, Clay, Drained, HardGround, Platform

#: Bearing factor of a square on undrained clay, ``(pi + 2) 1.2``: EN 1997-1 Annex D (formula from memory).
SQUARE_ON_CLAY = (math.pi + 2.0) * 1.2


@dataclass(frozen=True)
class Patch:
    """What a tyre covers, and how far its neighbours stand off, metres; NaN where nobody gave the contact area."""

    length_m: float
    width_m: float
    wheelbase_m: float
    track_m: float

    @classmethod
    def of(cls, machine: Machine) -> Patch:
        """As long as its contact area and its tyre's width make it."""
        area_m2 = machine.value("contact_area_m2") if "contact_area_m2" in machine.figures else math.nan
        width_m = machine.wheels[0].width_m
        return cls(area_m2 / width_m, width_m, machine.wheelbase_m, machine.track_m)

    @property
    def area_m2(self) -> float:
        """Its contact area."""
        return self.length_m * self.width_m

    def spread(self, by_m: float) -> Patch:
        """The patch wider by so much on each side, as a platform spreads it on to what lies below."""
        return Patch(self.length_m + 2 * by_m, self.width_m + 2 * by_m, self.wheelbase_m, self.track_m)

    @property
    def overlapping(self) -> int:
        """How many wheels' patches lie over one place where they overlap: overlapping spreads add."""
        return (2 if self.length_m > self.wheelbase_m else 1) * (2 if self.width_m > self.track_m else 1)


def drained_kpa(
    soil: Drained, *, cover_kpa: float, width_m: float, length_m: float, across: float = 0.0, along: float = 0.0
) -> float:
    """Drained bearing resistance of a rectangle without cohesion, kPa: EN 1997-1 Annex D.4 (formulas from memory).

    Parameters
    ----------
    cover_kpa
        Pressure of what lies beside the rectangle at its level.
    width_m, length_m
        Effective sides, ``B - 2e``: the shorter is the annex's B', whichever is named first.
    across, along
        Force sideways along the width and along the length, as shares of the upright force.

    Notes
    -----
    ``q' Nq sq iq + gamma' B' Ngamma sgamma igamma / 2``; a published sheet agrees, see ``tests/outside``.
    """
    if width_m > length_m:
        width_m, length_m, across, along = length_m, width_m, along, across
    phi, ratio = math.radians(soil.phi_deg), width_m / length_m
    n_q: float = math.exp(math.pi * math.tan(phi)) * math.tan(math.pi / 4 + phi / 2) ** 2
    n_weight = 2.0 * (n_q - 1.0) * math.tan(phi)
    sideways = math.hypot(across, along)
    if sideways >= 1.0:
        return 0.0
    towards = (across / sideways) ** 2 if sideways else 1.0
    m = towards * (2.0 + ratio) / (1.0 + ratio) + (1.0 - towards) * (2.0 + 1.0 / ratio) / (1.0 + 1.0 / ratio)
    i_q: float = (1.0 - sideways) ** m
    i_weight = i_q * (1.0 - sideways)
    by_cover = cover_kpa * n_q * (1.0 + ratio * math.sin(phi)) * i_q
    return by_cover + 0.5 * soil.weight_knm3 * width_m * n_weight * (1.0 - 0.3 * ratio) * i_weight


def left_of(ground: Bearing, *, wet: bool) -> float:
    """Share of what ground bears that counts: on a wet day what its engineer says is left of it, NaN if nobody said."""
    if isinstance(ground, HardGround) or not wet:
        return 1.0
    return math.nan if ground.wet is None else ground.wet


def limit_kn(ground: Bearing, patch: Patch, slope: float, *, wet: bool) -> float:
    """Most that one wheel may carry on this ground, kN; NaN where the patch, or what is left in the wet, is not known.

    ``slope`` (a ratio) is what a platform's weak layer takes sideways, the share of the load that runs down it.
    """
    if isinstance(ground, HardGround):
        return ground.wheel_kn
    left = left_of(ground, wet=wet)
    if isinstance(ground, Clay):
        return left * min(SQUARE_ON_CLAY * ground.cu_kpa / ground.factor, ground.rut_kpa) * patch.area_m2
    spread = patch.spread(ground.thickness_m * math.tan(math.radians(ground.spread_deg)))
    return left * _platform_kn(ground, spread, slope)


def _platform_kn(ground: Platform, spread: Patch, slope: float) -> float:
    allowed_kpa = ground.below
    if isinstance(allowed_kpa, Drained):
        soil = allowed_kpa
        width_m, length_m = sorted((spread.width_m, spread.length_m))
        resistance_kpa = drained_kpa(
            soil,
            cover_kpa=soil.weight_knm3 * ground.thickness_m,
            width_m=width_m,
            length_m=length_m,
            across=slope,
        )
        allowed_kpa = resistance_kpa / soil.factor
    return allowed_kpa * spread.area_m2 / spread.overlapping


def rests_on(ground: Bearing) -> tuple[str, ...]:
    """Figures of the machine that a limit rests on: none for hard ground, else what a tyre covers."""
    return () if isinstance(ground, HardGround) else ("contact_area_m2",)
