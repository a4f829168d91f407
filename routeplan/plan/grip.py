"""The check "grip" of a route: whether tyres hold the machine wherever it is, and how fast it still stops in time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.catalogue import CheckKind
from routeplan.hazards.edges import accepted_on
from routeplan.hazards.grip import (
    BRAKED,
    DRIVEN,
    WEIGHT,
    Footing,
    axles,
    friction_on,
    in_part,
    least_share,
    lever,
    steepness,
)
from routeplan.hazards.prepare import Hazards
from routeplan.hazards.register import doubts, verdict
from routeplan.hazards.uncertainty import sigma_pitch, sigma_roll
from routeplan.hazards.wheel_loads import turned
from routeplan.machine.model import Machine
from routeplan.plan.surer import HELD, Doubt, Surer
from routeplan.plan.under_wheels import UnderWheels, ends_of
from routeplan.route.model import Check, Control, Pose
from routeplan.site.model import MoveWanted, Site, Surface

Floats = NDArray[np.float64]

#: The line of the catalogue.
GRIP = "grip"
#: What is told of a move that is made on dry ground only.
_DRY = (
    "Dry ground only: wait where it is wet, iced or muddy on the way; neither grip nor what the ground "
    "bears is checked for that."
)


@dataclass(frozen=True, eq=False)
class Gripped:
    """Rows of a route with what holds the machine from each on to the next, and their limits of speed.

    Parameters
    ----------
    bare
        For each row the surfaces that it meets of which nobody said how tyres grip them.
    whose
        For each row whose word its friction is.
    lift
        For each row what an error of pitch makes of the share on one axle, times friction.
    """

    poses: Sequence[Pose]
    footing: Footing
    bare: Sequence[tuple[str, ...]]
    whose: Sequence[str]
    lift: Floats
    site: Site
    machine: Machine
    shapes: tuple[str, ...]

    @classmethod
    def of(
        cls, poses: Sequence[Pose], machine: Machine, hazards: Hazards, site: Site, wanted: MoveWanted,
        shapes: tuple[str, ...],
    ) -> Gripped:  # fmt: skip
        """Of a move wanted, in some configurations."""
        under = UnderWheels.of(poses, machine, hazards, site)
        form = machine.configurations[wanted.configuration]
        driven_on = [one for one in site.surfaces if accepted_on(one, machine, form, wanted.on, wet=wanted.wet)]
        friction, whose, bare = _frictions(under, driven_on, wanted.wet)
        slopes = [under.slopes(row) for row in range(len(poses))]
        held = axles(machine, BRAKED), axles(machine, DRIVEN)
        forms = [machine.configurations[name] for name in shapes]
        braked, driven = (
            np.min([[least_share(machine, form, ends, *slope) for slope in slopes] for form in forms], axis=0)
            for ends in held
        )
        arms = np.max([[lever(machine, form, ends) for ends in held] for form in forms], axis=0)
        pitch, roll = (np.array([max(map(abs, slope[axis])) for slope in slopes]) for axis in (0, 1))
        accuracy = site.ground.accuracy
        along, across = sigma_pitch(accuracy, machine.wheelbase_m), sigma_roll(accuracy, machine.track_m)
        lift = np.nan_to_num(arms.max() * friction)
        sigma = math.hypot(along, across) + along * lift
        brake = machine.value("brake_mps2") if "brake_mps2" in machine.figures else math.nan
        unknown = math.nan if machine.tracks else 1.0  # what a track stands on between its ends is not modelled
        footing = Footing(
            friction * unknown, steepness(pitch, roll), braked, driven, float(arms[0]), brake * unknown, sigma
        )  # fmt: skip
        return cls(poses, footing, bare, whose, lift, site, machine, shapes)

    def surer_by(self, surer: Surer, k: float) -> Gripped:
        """The same, as sure as readings make it where the survey alone lets it not go at travel speed."""
        figures = self.machine.figures
        travel = self.machine.value("travel_speed_mps") if "travel_speed_mps" in figures else math.inf
        slow, sigma = np.flatnonzero(self.fastest_mps(k) < travel), self.footing.sigma.copy()
        sigma[slow] = surer.least(self._doubt(np.zeros(len(self.poses))).where(slow), k)
        return replace(self, footing=replace(self.footing, sigma=sigma))

    def doubt(self) -> Doubt:
        """What is left at the limits of the rows, from each on to the next, and how sure it is."""
        return self._doubt(self._left()[1])

    def _doubt(self, margin: Floats) -> Doubt:
        by = np.stack([np.ones_like(self.lift), self.lift], axis=1)
        return Doubt(HELD, *ends_of(self.poses), margin, self.footing.sigma, np.zeros_like(margin), by)

    def _left(self) -> tuple[Floats, Floats]:
        """What is asked at the limits of the rows, and what is left then; NaN where nobody knows."""
        limits = np.array([pose.v_max_mps for pose in self.poses])
        ahead = np.maximum(limits, np.append(limits[1:], limits[-1:]))
        wanted = self.site.thresholds
        asked = self.footing.asked(ahead, wanted.stopping_distance_m, wanted.reaction_s)
        left = self.footing.left(asked)
        vague = np.array([bool(names) for names in self.bare])  # some of the ground may grip less than what is known
        return asked, np.where(vague & (left >= 0.0), math.nan, left)

    def fastest_mps(self, k: float) -> Floats:
        """Fastest limit of each row, on to the next, with which it stops in time for certain; infinite for unknown."""
        return self.footing.fastest(k, self.site.thresholds.stopping_distance_m, self.site.thresholds.reaction_s)

    def driven_at(self, poses: Sequence[Pose]) -> Gripped:
        """The same rows with their limits."""
        return replace(self, poses=poses)

    def check(self, line: CheckKind, k: float, from_m: float, to_m: float) -> Check:
        """The worst between two chainages."""
        chainage = np.array([pose.chainage_m for pose in self.poses])
        (asked, left), sigma = self._left(), self.footing.sigma
        inside = np.flatnonzero((chainage >= from_m) & (chainage <= to_m))
        slack = np.where(np.isnan(left), math.inf, left - k * sigma)[inside]
        row = int(inside[np.argmin(slack)])
        why = self._doubts(line, inside)
        margin, at = float(left[row]), self.poses[row]
        result = verdict(margin, float(sigma[row]), k)
        unknown = bool(np.isnan(left[inside]).any())
        return Check(
            line.kind, "not proven" if result == "pass" and (why or unknown) else result, float(asked[row]),
            float(asked[row]) + margin, margin, line.unit, float(sigma[row]), k, at.chainage_m, (at.x, at.y),
            self.whose[row], why,
        )  # fmt: skip

    def _doubts(self, line: CheckKind, rows: NDArray[np.intp]) -> tuple[str, ...]:
        """Why it cannot be a pass on some rows, and what to measure."""
        figures = (*line.figures, *(WEIGHT if in_part(self.machine) else ()))
        why = doubts(replace(line, figures=figures), self.site, self.machine, self.shapes)
        if in_part(self.machine):
            why += tuple(f"nobody said where the weight acts in {shape}" for shape in self.shapes if turned(shape))
        bare = dict.fromkeys(name for row in rows for name in self.bare[row])
        return why + tuple(
            f"nobody said how tyres grip {name}: have its friction measured, wet and dry, and give it with the "
            "surface" for name in bare
        )  # fmt: skip


def _frictions(
    under: UnderWheels, surfaces: Sequence[Surface], wet: bool
) -> tuple[Floats, list[str], list[tuple[str, ...]]]:
    """Least friction said of the surfaces that each row meets, NaN where none is, whose word, and which do not say."""
    count = len(under.poses)
    least, whose = np.full(count, math.inf), ["no surface on the way"] * count
    bare = list[tuple[str, ...]]([()] * count)
    for surface in surfaces:
        friction = friction_on(surface.friction, wet=wet)
        for row in np.flatnonzero(under.on(surface.geometry).any(axis=1)):
            if math.isnan(friction):
                bare[row] = (*bare[row], surface.id)
            elif friction < least[row] and surface.friction is not None:
                least[row], whose[row] = friction, f"{surface.id}: {surface.friction.role}"
    return np.where(np.isinf(least), math.nan, least), whose, bare


def dry_only(wanted: MoveWanted) -> tuple[Control, ...]:
    """What people are told of a move that is made on dry ground only."""
    return () if wanted.wet else (Control("grip", 0.0, _DRY),)
