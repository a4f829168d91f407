"""The check "ground load" of a route: what its wheels carry against what the site claims of the ground under them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from routeplan.hazards.bearing import Patch, left_of, limit_kn, rests_on
from routeplan.hazards.catalogue import CheckKind
from routeplan.hazards.edges import proven_for
from routeplan.hazards.prepare import Hazards
from routeplan.hazards.register import doubts, verdict
from routeplan.hazards.uncertainty import sigma_pitch, sigma_roll
from routeplan.hazards.wheel_loads import STEP_FACTOR, load_kn, sigma_kn, turned
from routeplan.machine.model import Configuration, Machine
from routeplan.plan.under_wheels import UnderWheels
from routeplan.route import Check, Pose
from routeplan.site.model import Site, Surface

Floats = NDArray[np.float64]

#: Margin where no surface on the way claims anything, kN: "at least"; no surface claims more.
NOTHING_CLAIMED_KN = 1000.0


@dataclass(frozen=True, eq=False)
class _Driven:
    """What rows of a route drive over, the machine that does, and whether the day may be wet."""

    under: UnderWheels
    machine: Machine
    shapes: tuple[Configuration, ...]
    site: Site
    wet: bool

    def factors(self, rows: NDArray[np.intp]) -> Floats:
        """What steps make of the load of each wheel on some rows, (n, 4)."""
        edges = shapely.union_all([d.geometry for d in self.site.defects if d.depth_m > 0.0 or d.height_m > 0.0])
        met = shapely.dwithin(
            self.under.courses[rows], edges, self.under.reach_m + self.under.hazards.wheel_radius_m
        )  # fmt: skip
        return np.where(met, STEP_FACTOR, 1.0)

    def loads(self, row: int) -> Floats:
        """Most that each wheel may carry from a row to the next, standing, kN (4,)."""
        slopes = self.under.slopes(row)
        return np.asarray(np.fmax.reduce([load_kn(self.machine, shape, *slopes) for shape in self.shapes]))


@dataclass(frozen=True)
class _Least:
    """The row and wheel that have least to spare on a surface."""

    margin: float
    value: float
    limit: float
    sigma: float
    row: int

    def slack(self, k: float) -> float:
        """What is left beyond k sigma; what is not known comes after all that is."""
        return math.inf if math.isnan(self.margin) else self.margin - k * self.sigma


def _least(driven: _Driven, surface: Surface, on: NDArray[np.bool_], k: float) -> _Least:
    """The least to spare on a surface where ``on`` (n, 4) says which wheels are on it."""
    assert surface.bearing is not None
    rows, patch = np.flatnonzero(on.any(axis=1)), Patch.of(driven.machine)
    accuracy, machine = driven.site.ground.accuracy, driven.machine
    slopes = sigma_pitch(accuracy, machine.wheelbase_m), sigma_roll(accuracy, machine.track_m)
    sigma = max(sigma_kn(machine, shape, *slopes) for shape in driven.shapes)
    found: list[_Least] = []
    for row, factors in zip(rows.tolist(), driven.factors(rows), strict=True):
        steepest = math.hypot(*(max(map(abs, slope)) for slope in driven.under.slopes(row)))
        limit = limit_kn(surface.bearing, patch, steepest, wet=driven.wet)
        loads = np.where(on[row], driven.loads(row) * factors, -math.inf)
        wheel = int(np.argmax(loads))
        value = float(loads[wheel])
        found.append(_Least(limit - value, value, limit, sigma * float(factors[wheel]), row))
    return min(found, key=lambda least: least.slack(k))


def ground_load_check(
    line: CheckKind, poses: Sequence[Pose], *, site: Site, machine: Machine, hazards: Hazards, k: float,
    configurations: Iterable[str], wet: bool,
) -> Check:  # fmt: skip
    """The check over the rows of a route, at its worst; where no surface claims anything, its acceptance decides."""
    shapes = tuple(configurations)
    under = UnderWheels.of(poses, machine, hazards, site)
    driven = _Driven(under, machine, tuple(machine.configurations[name] for name in shapes), site, wet)
    found: list[tuple[_Least, Surface]] = []
    for surface in (*site.surfaces, *_driven_over(site, machine, driven.shapes)):
        if surface.bearing is not None:
            on = under.on(surface.geometry)
            if on.any():
                found.append((_least(driven, surface, on, k), surface))
    first = poses[0]
    if not found:
        why = tuple(text for text in doubts(replace(line, figures=(), surveyed=False), site, machine))
        return Check(
            line.kind, "not proven" if why else "pass", 0.0, NOTHING_CLAIMED_KN, NOTHING_CLAIMED_KN, line.unit, 0.0, k,
            first.chainage_m, (first.x, first.y), f"{line.source}; no surface on the way claims what wheels may weigh",
            why,
        )  # fmt: skip
    why = _doubts(line, driven, [surface for _, surface in found])
    least, surface = min(found, key=lambda one: one[0].slack(k))
    result = verdict(least.margin, least.sigma, k)
    at = poses[least.row]
    assert surface.bearing is not None
    return Check(
        line.kind, "not proven" if why and result != "fail" else result, least.value, least.limit, least.margin,
        line.unit, least.sigma, k, at.chainage_m, (at.x, at.y), f"{surface.id}: {surface.bearing.role}", why,
    )  # fmt: skip


def _driven_over(site: Site, machine: Machine, shapes: Sequence[Configuration]) -> list[Surface]:
    """Covers and plates that its wheels may go over, as the hard ground that they are."""
    return [
        Surface(one.id, one.geometry, one.kind, None, one.proof.limit) for one in site.defects
        if one.proof is not None and any(proven_for(one, machine, shape) for shape in shapes)
    ]  # fmt: skip


def _doubts(
    line: CheckKind, driven: _Driven, met: Sequence[Surface]
) -> tuple[str, ...]:
    """Why it cannot be a pass on the surfaces that are met."""
    more = dict.fromkeys(name for surface in met if surface.bearing for name in rests_on(surface.bearing))
    shapes = [shape.id for shape in driven.shapes]
    why = doubts(replace(line, figures=(*line.figures, *more)), driven.site, driven.machine, shapes)
    why += tuple(f"nobody said where the weight acts in {shape}" for shape in shapes if turned(shape))
    soft = [one.id for one in met if one.bearing is not None and math.isnan(left_of(one.bearing, wet=driven.wet))]
    return why + tuple(
        f"nobody said what {name} bears in the wet: have wet_factor said with it, 1 where its figures are of wet ground"
        for name in soft
    )  # fmt: skip
