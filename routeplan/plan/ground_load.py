"""The check "ground load" of a route: what its wheels carry against what the site claims of the ground under them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

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
from routeplan.plan.surer import CARRIED, Doubt, Surer
from routeplan.plan.under_wheels import UnderWheels, ends_of
from routeplan.route.model import Check, Pose
from routeplan.site.model import Site, Surface

Floats = NDArray[np.float64]

#: The line of the catalogue.
GROUND_LOAD = "ground load"
#: Margin where no surface on the way claims anything, kN: "at least"; no surface claims more.
NOTHING_CLAIMED_KN = 1000.0
#: How much less steep ground tells how fast what it bears falls with the slope.
_LITTLE = 1e-3


class _Claim(NamedTuple):
    """What a surface lets a wheel carry, and what one does, kN, once a wheel at ``rows``; ``by``: see `Doubt`."""

    surface: Surface
    rows: NDArray[np.intp]
    value: Floats
    limit: Floats
    by: Floats


@dataclass(frozen=True, eq=False)
class Laden:
    """What rows of a route drive over, the machine that does, and whether the day may be wet."""

    under: UnderWheels
    machine: Machine
    shapes: tuple[Configuration, ...]
    site: Site
    wet: bool

    @classmethod
    def of(
        cls, poses: Sequence[Pose], *, site: Site, machine: Machine, hazards: Hazards, configurations: Iterable[str],
        wet: bool,
    ) -> Laden:  # fmt: skip
        """A machine driven in some configurations."""
        shapes = tuple(machine.configurations[name] for name in configurations)
        return cls(UnderWheels.of(poses, machine, hazards, site), machine, shapes, site, wet)

    def claims(self) -> Iterator[_Claim]:
        """What each surface claims that wheels meet."""
        for surface in (*self.site.surfaces, *_driven_over(self.site, self.machine, self.shapes)):
            if surface.bearing is not None:
                on = self.under.on(surface.geometry)
                if on.any():
                    yield self.claim(surface, on)

    def claim(self, surface: Surface, on: NDArray[np.bool_]) -> _Claim:
        """What each wheel carries on a surface; ``on`` (n, 4) says which wheels are on it."""
        assert surface.bearing is not None
        met, patch = np.flatnonzero(on.any(axis=1)), Patch.of(self.machine)
        at, wheel = np.nonzero(on[met])
        factor = self.factors(met)[at, wheel]
        value = np.array([self.loads(row) for row in met.tolist()])[at, wheel] * factor
        slopes = [self.under.slopes(row) for row in met.tolist()]
        steep = np.array([math.hypot(*(max(map(abs, axis)) for axis in slope)) for slope in slopes])[at]
        # What it bears falls ever less with the slope: from a little less steep to here it falls more than beyond.
        limit, eased, beyond = (
            np.array([limit_kn(surface.bearing, patch, slope, wet=self.wet) for slope in some])
            for some in (steep, np.maximum(steep - _LITTLE, 0.0), np.maximum(steep, _LITTLE))
        )
        spans = self.machine.wheelbase_m, self.machine.track_m
        moment = max(sigma_kn(self.machine, shape, *spans) for shape in self.shapes)
        by = np.stack([np.nan_to_num((eased - beyond) / _LITTLE), moment * factor], axis=1)
        return _Claim(surface, met[at], value, limit, by)

    def left_kn(self) -> Floats:
        """Least that is left from each row to the next, NaN where nothing is claimed or no load known, kN (n,)."""
        left = np.full(len(self.under.poses), math.nan)
        for claim in self.claims():
            np.fmin.at(left, claim.rows, claim.limit - claim.value)
        return left

    def doubt(self, claim: _Claim) -> Doubt:
        """What is left on a surface and how sure it is by the survey, row by row and wheel by wheel."""
        accuracy, machine = self.site.ground.accuracy, self.machine
        pitch, roll = sigma_pitch(accuracy, machine.wheelbase_m), sigma_roll(accuracy, machine.track_m)
        spans = max(pitch / machine.wheelbase_m, roll / machine.track_m)
        survey = claim.by @ np.array([math.hypot(pitch, roll), spans])
        starts, ends = (some[claim.rows] for some in ends_of(self.under.poses))
        return Doubt(CARRIED, starts, ends, claim.limit - claim.value, survey, 0.0 * survey, claim.by)

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


class _Least(NamedTuple):
    """Where least is left on a surface beyond k sigma; what is not known comes after all that is."""

    slack: float
    claim: _Claim
    row: int
    sigma: float

    @classmethod
    def of(cls, driven: Laden, claim: _Claim, surer: Surer, k: float) -> _Least:
        """After readings."""
        doubt = driven.doubt(claim)
        sigma = surer.along(doubt, k)
        slack = np.where(np.isnan(doubt.margin), math.inf, doubt.margin - k * sigma)
        row = int(np.argmin(slack))
        return cls(float(slack[row]), claim, row, float(sigma[row]))


def ground_load_check(
    line: CheckKind, poses: Sequence[Pose], *, site: Site, machine: Machine, hazards: Hazards, k: float,
    configurations: Iterable[str], wet: bool, surer: Surer,
) -> Check:  # fmt: skip
    """The check over the rows of a route, at its worst; where no surface claims anything, its acceptance decides."""
    driven = Laden.of(
        poses, site=site, machine=machine, hazards=hazards, configurations=configurations, wet=wet
    )  # fmt: skip
    claims = list(driven.claims())
    first = poses[0]
    if not claims:
        why = tuple(text for text in doubts(replace(line, figures=(), surveyed=False), site, machine))
        return Check(
            line.kind, "not proven" if why else "pass", 0.0, NOTHING_CLAIMED_KN, NOTHING_CLAIMED_KN, line.unit, 0.0, k,
            first.chainage_m, (first.x, first.y), f"{line.source}; no surface on the way claims what wheels may weigh",
            why,
        )  # fmt: skip
    why = _doubts(line, driven, [claim.surface for claim in claims])
    claim, row, sigma = min((_Least.of(driven, claim, surer, k) for claim in claims), key=lambda one: one.slack)[1:]
    value, limit, at = float(claim.value[row]), float(claim.limit[row]), poses[claim.rows[row]]
    result = verdict(limit - value, sigma, k)
    assert claim.surface.bearing is not None
    return Check(
        line.kind, "not proven" if why and result != "fail" else result, value, limit, limit - value,
        line.unit, sigma, k, at.chainage_m, (at.x, at.y), f"{claim.surface.id}: {claim.surface.bearing.role}", why,
    )  # fmt: skip


def _driven_over(site: Site, machine: Machine, shapes: Sequence[Configuration]) -> list[Surface]:
    """Covers and plates that its wheels may go over, as the hard ground that they are."""
    return [
        Surface(one.id, one.geometry, one.kind, None, one.proof.limit) for one in site.defects
        if one.proof is not None and any(proven_for(one, machine, shape) for shape in shapes)
    ]  # fmt: skip


def _doubts(
    line: CheckKind, driven: Laden, met: Sequence[Surface]
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
